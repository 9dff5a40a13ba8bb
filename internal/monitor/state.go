package monitor

import (
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/safety"
)

// Options are what the monitor needs.
type Options struct {
	Estimator *estimator.Estimator
	Settings  alarm.Settings
	Roles     map[cook.ProbeID]cook.Role // declared roles; a probe of a running cook is pit or piece by that cook
	Zone      *time.Location             // of the times in messages
	FuelEvery time.Duration              // how long a load of fuel lasts; 0 when the fire feeds itself
	Safety    safety.Policy              // by which rules the stages are watched; empty Sets: the default ones
}

// tracker keeps the samples of one piece and forecasts from them; *estimator.Tracker is one. Those of one cook share the pit:
// what the first is given counts for all.
type tracker interface {
	AddCore(s ...estimator.Sample)
	AddPit(s ...estimator.Sample)
	Amend(in estimator.Input)
	Forecast(at time.Time) estimator.Forecast
	WhatIf(at time.Time, actions ...estimator.Action) estimator.Forecast
}

// State is the live state. It belongs to one goroutine.
type State struct {
	o       Options
	track   func(in estimator.Input, beside tracker) tracker                          // beside another piece of the cook, or nil
	cool    func(c estimator.Chill, to ...thermal.Celsius) ([][7]time.Duration, bool) // nil: no forecaster
	words   alarm.Words
	fires   []*fire  // running cooks, by id
	stages  []*stage // open stages of lots
	probes  map[cook.ProbeID]*probe
	boards  map[string]*board
	devices map[string]*device      // with a battery, by deviceKey
	boardOf map[cook.ProbeID]string // the board that a probe is wired to, where one said so
	intake  *alarm.Intake
	way     IntakeView
	backlog backlog
	told    map[alarm.ID]bool        // people were told of this standing alarm
	beside  map[alarm.ID]bool        // it stands under the message of another with the same cause
	kept    map[alarm.ID]alarm.Alarm // restored, not yet taken over
	now     time.Time                // the daemon's clock at the last call
	uptime  time.Duration            // time passed, whatever the clock did
	stride  time.Duration            // the longest recent step between two calls

	failures uint64  // panics of the forecaster
	unsaid   []error // those of a cooling, for the log
}

// Effect is something to do for the daemon: exactly one field is set.
type Effect struct {
	Forecast  *Forecasted
	Alarm     *Alarmed
	Recount   cook.ID    // read the cook's stored readings and Count them
	Rewatch   *StageKey  // give the stored readings of the stage's probes since its beginning to what Rewatch gives
	Deviation *Deviation // enter it in the journal of its lot, unless it is there
	Judged    *Judged    // enter it in the journal of its lot
	Failed    error      // the forecaster panicked: log it
}

// Forecasted is a forecast to publish, and to keep if Keep is set.
type Forecasted struct {
	cook.KeptForecast
	Keep   bool
	Failed error // the forecaster panicked: log it
}

// Alarmed is a change of an alarm to keep and publish, and to tell people if Notify is set. That something is over is told
// too (Returned, or Normal after an acknowledgement), to those who were told that it began; it need wake nobody.
type Alarmed struct {
	alarm.Change
	Notify bool
}

// New makes a monitor without cooks.
func New(o Options) *State {
	if len(o.Safety.Sets) == 0 {
		o.Safety.Sets = safety.DefaultSets()
	}
	o.Safety.Zone = o.Zone
	m := &State{
		o: o, track: o.beside, words: alarm.Words{Zone: o.Zone}, intake: alarm.NewIntake(o.Settings, alarm.Words{Zone: o.Zone}), way: IntakeView{Connected: true},
		probes: map[cook.ProbeID]*probe{}, boards: map[string]*board{}, devices: map[string]*device{}, boardOf: map[cook.ProbeID]string{}, told: map[alarm.ID]bool{}, beside: map[alarm.ID]bool{}, kept: map[alarm.ID]alarm.Alarm{},
	}
	if o.Estimator != nil {
		m.cool = o.Estimator.CoolTimes
	}
	return m
}

func (o Options) beside(in estimator.Input, other tracker) tracker {
	if t, ok := other.(*estimator.Tracker); ok {
		return t.Beside(in)
	}
	return o.Estimator.Track(in)
}

// Restore takes over after a start: the running cooks, and the newest alarm of each id whatever its state. What stands
// and was not told before, because old readings showed it, is told once the readings are current. Then Count each cook with its stored readings.
func (m *State) Restore(cooks []cook.Stored, alarms []alarm.Alarm) {
	for _, a := range alarms {
		m.kept[a.ID] = a
		if a.State == alarm.Acked || a.Told && (a.State == alarm.Active || a.State == alarm.Shelved) {
			m.told[a.ID] = true
		}
	}
	for id, role := range m.o.Roles {
		m.probe(id, role)
	}
	m.adopt(m.intake.Conditions())
	for _, s := range cooks {
		m.light(s)
	}
}

// adopt takes kept alarms over into fresh conditions of the same cook.
func (m *State) adopt(conditions []*alarm.Condition) {
	for _, c := range conditions {
		if a, ok := m.kept[c.Alarm().ID]; ok && a.Cook == c.Alarm().Cook {
			c.Adopt(a)
			delete(m.kept, a.ID)
		}
	}
}

// Committed is a reading that is kept. Seq is its place in the order of commits, from 1 on: arrivals may be committed in
// another order than they were timed in, and a clock that is set back times them twice.
type Committed struct {
	Seq int64
	cook.Reading
}

// Apply takes readings in the order of their commits, each once.
func (m *State) Apply(readings []Committed, now time.Time) []Effect {
	m.advance(now)
	var out []Effect
	for _, c := range readings {
		r := c.Reading
		told := m.applies(c)
		if !m.room(r.Probe) {
			continue
		}
		p := m.probe(r.Probe, m.o.Roles[r.Probe])
		if told {
			p.note(r)
		} else {
			p.hear(r, m.uptime)
		}
		if !r.Retained && r.Clock != cook.HandClock {
			p.lag.note(m.asOf().Sub(r.Time), m.uptime)
		}
		for _, f := range m.fires {
			out = append(out, f.take(m, c)...)
		}
		out = append(out, m.alone(p, r)...)
		out = append(out, m.follow(r)...)
	}
	for _, f := range m.fires {
		out = append(out, f.drain(m)...)
	}
	return append(out, m.overdue()...)
}

// alone lets the probes that watch a place rather than a cook speak at once.
func (m *State) alone(p *probe, r cook.Reading) []Effect {
	if p.fire != nil || !r.Live() && r.Clock == cook.ArrivalClock || !p.inOrder(r) {
		return nil
	}
	if p.air == nil {
		p.sense.Observe(r)
	}
	if p.watch == nil {
		return nil
	}
	var changes []alarm.Change
	switch {
	case p.air != nil: // parts per million: what is good or bad for degrees does not apply
		changes = p.air.Observe(r.Time, float64(r.Celsius))
	case p.cooler != nil:
		changes = p.watch.Observe(r)
		if r.Quality == cook.Good {
			changes = append(changes, p.cooler.Observe(r.Time, r.Celsius)...)
		}
	case p.staged:
		changes = p.watch.Observe(r)
	default: // a probe that watches nothing just now may say what it likes
		return nil
	}
	current := m.tells(p, r.Time)
	out := m.alarmed(changes, current)
	for _, c := range p.conditions() {
		if current {
			out = append(out, m.tell(c)...)
		}
	}
	return out
}

// Tick lets time pass when everything that is stored was applied: readings held back, silence, shelves, forecasts of a pause. Call it every
// second or so, or else Await.
func (m *State) Tick(now time.Time) []Effect {
	m.advance(now)
	m.caughtUp()
	var out []Effect
	for _, f := range m.fires {
		out = append(out, f.drain(m)...)
		out = append(out, f.pause(m)...)
	}
	out = append(out, m.calmed()...)
	out = append(out, m.listen()...)
	out = append(out, m.ways()...)
	out = append(out, m.late()...)
	out = append(out, m.expire()...)
	out = append(out, m.orphans()...)
	for _, err := range m.unsaid {
		out = append(out, Effect{Failed: err})
	}
	m.unsaid = nil
	return append(out, m.overdue()...)
}

// expire ends the shelves whose time has come.
func (m *State) expire() []Effect {
	var out []Effect
	for _, c := range m.conditions() {
		if change, ok := c.Expire(m.now); ok {
			out = append(out, m.alarmed([]alarm.Change{change}, true)...)
		}
	}
	return out
}

// SetIntake takes the state of the way in and of the ways out.
func (m *State) SetIntake(v IntakeView, now time.Time) []Effect {
	m.advance(now)
	m.way = v
	return append(m.ways(), m.overdue()...)
}

// ways looks at the ways in and out, and at the room on the disk.
func (m *State) ways() []Effect {
	return m.alarmed(append(m.intake.Observe(m.now, m.trouble(), m.way.Delivery), m.intake.Scarce(m.now, m.way.Scarce)...), true)
}

func (m *State) trouble() string {
	if m.way.Trouble == "" && !m.way.Connected {
		return "No connection to the broker"
	}
	return m.way.Trouble
}

// Steps between two calls that are longer than this, and far longer than those before, are a stepped clock or a machine
// that slept: not time in which a probe could have spoken.
const (
	leap      = 10 * time.Minute
	leapTimes = 5
)

func (m *State) advance(now time.Time) {
	step := max(0, now.Sub(m.now))
	if m.now.IsZero() {
		step = 0
	}
	if step > leap && step > leapTimes*m.stride {
		m.stride, step = step, 0
	}
	m.now = now
	m.stride = max(step, m.stride-m.stride/1000)
	m.uptime += step
}

// conditions lists every condition there is, in a fixed order.
func (m *State) conditions() []*alarm.Condition {
	out := m.intake.Conditions()
	for _, f := range m.fires {
		out = append(out, f.conditions()...)
	}
	for _, s := range m.stages {
		out = append(out, s.limit.Conditions()...)
	}
	for _, p := range m.byName() {
		out = append(out, p.conditions()...)
	}
	for _, d := range m.byDevice() {
		out = append(out, d.watch.Conditions()...)
	}
	return out
}

func (m *State) byName() []*probe {
	out := make([]*probe, 0, len(m.probes))
	for _, p := range m.probes {
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b *probe) int { return strings.Compare(string(a.id), string(b.id)) })
	return out
}
