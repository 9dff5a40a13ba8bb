package monitor

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/safety"
)

// StageKey tells one stage of one lot from all others.
type StageKey struct {
	Lot   cook.LotID
	Stage cook.Stage
	Piece cook.PieceID
	From  int64 // microseconds: the same stage may run twice
}

func keyOf(w cook.StageWatch) StageKey {
	return StageKey{w.Lot, w.Stage, w.Piece, w.From.UnixMicro()}
}

// stage is a stage that is being watched.
type stage struct {
	watch  cook.StageWatch
	cook   cook.ID // the running cook that implies it; 0 = a lot's
	clocks []*clocks
	limit  *alarm.Limit
	set    string // of the dwell table
	chills string // the cooling set
	filed  map[string]bool
	judged time.Time // the whole minute of the newest judgement
	late   bool      // readings came behind newer ones
	lateAt time.Duration
}

// newStage sets up the clocks that the stage needs, by the policy.
func (m *State) newStage(w cook.StageWatch, id cook.ID) *stage {
	p := m.o.Safety
	s := &stage{watch: w, cook: id, filed: map[string]bool{}}
	var table safety.Table
	s.set, table = p.Table(w.Cut, w.Intact)
	var rule safety.CoolingRule
	s.chills, rule = p.Cooling()
	for _, probe := range w.Probes {
		if !s.measures(probe, m.o.Roles[probe]) {
			continue
		}
		c := &clocks{id: probe, level: thermal.Celsius(math.NaN())}
		switch w.Stage {
		case cook.StageSmoke:
			c.cooking, c.warm = safety.NewCooking(table, w.Intact, p.Settings), m.lukewarm()
		case cook.StageHold, cook.StageChill:
			c.chill, c.warm = safety.NewChilling(rule, p.Settings), m.lukewarm()
		}
		if c.warm != nil {
			c.warm.Out(w.Out)
		}
		if r, ok := p.Keeps(w.Stage); ok {
			c.keep = safety.NewKeeping(r, p.Settings)
		}
		s.clocks = append(s.clocks, c)
	}
	s.limit = m.newLimit(s)
	return s
}

// measures reports whether a probe tells of the stage's meat, or of its cooler: the air of a pit or of a cooler is no meat.
func (s *stage) measures(id cook.ProbeID, role cook.Role) bool {
	if id.IsPit() || role == cook.RolePit || role == cook.RoleCO || role == cook.RoleAmbient {
		return false
	}
	return s.coolerStage() || role != cook.RoleCooler && role != cook.RoleHolding
}

// newLimit makes the alarms of a stage, with the priorities of its kind.
func (m *State) newLimit(s *stage) *alarm.Limit {
	w, set := s.watch, m.o.Settings
	about := alarm.Alarm{Cook: int64(s.cook), Piece: string(w.Piece)}
	name := fmt.Sprintf("%s/%s", w.Lot, w.Piece)
	if s.cook != 0 {
		name = fmt.Sprintf("%d/%s", s.cook, w.Piece)
	}
	if len(w.Probes) > 0 {
		about.Probe = string(w.Probes[0])
	}
	switch w.Stage {
	case cook.StageSmoke:
		return alarm.NewLimit(alarm.ComeUp, alarm.ComeUpRisk, name, about, w.Intact, set.ComeUp)
	case cook.StageChill:
		return alarm.NewLimit(alarm.Cooling, alarm.CoolingRisk, name, about, w.Intact, set.Cooling)
	case cook.StageHold:
		if s.cook != 0 { // what comes off a fire may be held or chilled: until it cools its holding is forecast only
			return alarm.NewLimit(alarm.Cooling, alarm.CoolingRisk, name, about, w.Intact, set.Cooling)
		}
		return alarm.NewLimit(alarm.HoldCold, alarm.HoldRisk, name, about, w.Intact, set.Holding)
	}
	return alarm.NewLimit(alarm.ColdLimit, alarm.ColdLimit+"-risk", name+"/"+string(w.Stage), about, false, alarm.StageLimit{Rule: set.ColdLimit})
}

// title names the stage's meat in messages.
func (s *stage) title() string {
	switch {
	case s.cook != 0:
		return string(s.watch.Piece)
	case s.watch.Piece != "":
		return fmt.Sprintf("%s of lot %s", s.watch.Piece, s.watch.Lot)
	}
	return "Lot " + string(s.watch.Lot)
}

func (s *stage) of(id cook.ProbeID) *clocks {
	i := slices.IndexFunc(s.clocks, func(c *clocks) bool { return c.id == id })
	if i < 0 {
		return nil
	}
	return s.clocks[i]
}

// StagesChanged takes the stages of lots that are open now, all of them, and those that have ended (Until is set) and are not judged yet.
// What is new is watched from its beginning on, and what has ended is judged by what was measured until then: the effects ask for the
// stored readings. What is neither is let go without a word.
func (m *State) StagesChanged(stages []cook.StageWatch, now time.Time) []Effect {
	m.advance(now)
	wanted := map[StageKey]cook.StageWatch{}
	for _, w := range stages {
		if len(w.Probes) > 0 {
			wanted[keyOf(w)] = w
		}
	}
	var out []Effect
	filed := map[StageKey]map[string]bool{}
	m.stages = slices.DeleteFunc(m.stages, func(s *stage) bool {
		w, on := wanted[keyOf(s.watch)]
		if on && slices.Equal(w.Probes, s.watch.Probes) && w.Intact == s.watch.Intact && w.Cut == s.watch.Cut && w.Until.Equal(s.watch.Until) && w.Out.Equal(s.watch.Out) {
			delete(wanted, keyOf(s.watch))
			s.watch = w // it may have been weighed
			return false
		}
		filed[keyOf(s.watch)] = s.filed
		out = append(out, m.alarmed(s.limit.End(m.now, "the stage has ended"), false)...)
		return true
	})
	for _, w := range wanted {
		s := m.newStage(w, 0)
		if known := filed[keyOf(w)]; known != nil {
			s.filed = known
		}
		m.stages = append(m.stages, s)
		if w.Until.IsZero() {
			m.adopt(s.limit.Conditions())
		}
	}
	slices.SortFunc(m.stages, func(a, b *stage) int {
		return cmp.Or(strings.Compare(string(a.watch.Lot), string(b.watch.Lot)), a.watch.From.Compare(b.watch.From),
			strings.Compare(string(a.watch.Stage), string(b.watch.Stage)), strings.Compare(string(a.watch.Piece), string(b.watch.Piece)))
	})
	for _, s := range m.stages {
		if key := keyOf(s.watch); !wanted[key].From.IsZero() {
			out = append(out, Effect{Rewatch: &key})
		}
	}
	return append(out, m.enroll()...)
}

// Rewatching is a lot's stage that is counted again from its stored readings, as few at a time as the caller likes: the live one goes on
// meanwhile, and Done puts the counted one in its place. What is given up changes nothing.
type Rewatching struct {
	m      *State
	old, s *stage
}

// Rewatch begins to count a lot's stage again; nil when it is gone. Add takes its stored readings from its beginning on, in outlook.Order, and
// then what was committed meanwhile.
func (m *State) Rewatch(key StageKey, now time.Time) *Rewatching {
	m.advance(now)
	i := slices.IndexFunc(m.stages, func(s *stage) bool { return keyOf(s.watch) == key })
	if i < 0 {
		return nil
	}
	old := m.stages[i]
	s := m.newStage(old.watch, 0)
	s.limit, s.filed = old.limit, old.filed
	return &Rewatching{m, old, s}
}

// Ended reports whether the stage has ended, so that all there is of it is stored.
func (r *Rewatching) Ended() bool { return !r.s.watch.Until.IsZero() }

// Add takes a reading. One of a probe that is not the stage's, or that is not newer than what was taken of its probe, changes nothing.
func (r *Rewatching) Add(reading cook.Reading) {
	s := r.s
	c := s.of(reading.Probe)
	switch {
	case c == nil, reading.Time.After(r.m.now.Add(future)), !s.during(reading.Time), !reading.Live() && reading.Clock == cook.ArrivalClock:
	case reading.Time.Before(s.watch.From):
		c.precede(reading)
	default:
		c.add(reading)
	}
}

// Done puts the counted stage in the place of the live one. One that has ended is judged and let go; one that is gone is left alone.
func (r *Rewatching) Done(now time.Time) []Effect {
	m, s := r.m, r.s
	m.advance(now)
	i := slices.Index(m.stages, r.old)
	if i < 0 {
		return nil
	}
	s.watch, s.late, s.lateAt = r.old.watch, r.old.late, r.old.lateAt // it may have been weighed meanwhile
	if r.Ended() {
		m.stages = slices.Delete(m.stages, i, i+1)
		return append(s.file(true), Effect{Judged: &Judged{Watch: s.watch, Verdicts: s.final()}})
	}
	m.stages[i] = s
	out := s.judge(m, m.now.Sub(s.at()) < fresh, m.pieceOn(s))
	return append(out, m.enroll()...)
}

// farthest is how long before a stage its meat is looked for: it may be long since the lot tells of any stage.
const farthest = 24 * time.Hour

// Probes lists the probes of a lot's stage and from when on their readings are wanted, for Rewatch; false when it is gone. That may be
// before the stage began: what the meat did on the way to it counts for the danger zone.
func (m *State) Probes(key StageKey) (probes []cook.ProbeID, from time.Time, ok bool) {
	for _, s := range m.stages {
		if keyOf(s.watch) == key {
			from = s.watch.From
			if out := s.watch.Out; !out.IsZero() && out.Before(from) {
				from = out
				if least := s.watch.From.Add(-farthest); from.Before(least) {
					from = least
				}
			}
			return s.watch.Probes, from, true
		}
	}
	return nil, time.Time{}, false
}

// at is the time of the newest reading of any of the stage's probes.
func (s *stage) at() time.Time {
	var at time.Time
	for _, c := range s.clocks {
		if c.at.After(at) {
			at = c.at
		}
	}
	return at
}

// follow gives a reading to the lots' stages.
func (m *State) follow(r cook.Reading) []Effect {
	var out []Effect
	for _, s := range m.stages {
		c := s.of(r.Probe)
		if c == nil || !s.watch.Until.IsZero() || r.Time.Before(s.watch.From) || !r.Live() && r.Clock == cook.ArrivalClock {
			continue
		}
		settled := c.keep != nil && c.keep.Settled()
		counts, late := c.add(r)
		if late {
			s.late, s.lateAt = true, m.uptime
		}
		if c.keep != nil && c.keep.Settled() != settled {
			out = append(out, m.enroll()...)
		}
		if counts && s.due(r.Time) {
			out = append(out, s.judge(m, m.tells(m.probes[r.Probe], r.Time), m.pieceOn(s))...)
		}
	}
	return out
}

// during reports whether a time lies before the stage's end.
func (s *stage) during(t time.Time) bool { return s.watch.Until.IsZero() || !t.After(s.watch.Until) }

// due reports whether a minute of reading time has passed since the newest judgement.
func (s *stage) due(at time.Time) bool {
	if minute := at.Truncate(time.Minute); minute.After(s.judged) {
		s.judged = minute
		return true
	}
	return false
}

// calmed asks for stages to be counted again whose readings came out of order.
func (m *State) calmed() []Effect {
	var out []Effect
	for _, s := range m.stages {
		if s.late && m.uptime-s.lateAt >= calm {
			s.late = false
			key := keyOf(s.watch)
			out = append(out, Effect{Rewatch: &key})
		}
	}
	return out
}
