package monitor

import (
	"slices"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
	"stallkeeper/internal/sense"
)

// fire is a running cook.
type fire struct {
	stored cook.Stored
	pit    *alarm.Pit
	level  *outlook.Merge
	pieces []*piece
	hush   *alarm.Hush
	sense  *sense.Watch

	held       []held                     // not yet applied
	frontier   time.Time                  // newest applied reading
	forecast   time.Time                  // at of the newest forecast
	keptAt     time.Time                  // at of the newest forecast that was kept
	took       time.Duration              // uptime of the newest arrival
	spoken     map[cook.ProbeID]time.Time // newest applied reading of each probe
	worked     int                        // effective events whose time has been passed
	late       bool                       // readings came behind the frontier: count again when it has calmed
	lateAt     time.Duration              // uptime of the newest of them
	lacked     bool                       // readings came behind the frontier of a piece that had no forecast
	counted    int64                      // what was committed up to here was in the last recount
	lag        lag                        // of the newest reading to the daemon's clock
	device     bool                       // some probe has spoken by itself, rather than been read by hand
	rehearse   bool                       // counting old readings: no alarm changes come out
	waits      bool                       // to be counted before it takes readings: see Counting
	waitsSince time.Duration              // uptime
	counting   bool                       // it is being counted again while it goes on
}

// held is a reading that waits for others to be put in order.
type held struct {
	cook.Reading
	since time.Duration // uptime
}

// piece is a piece on the fire.
type piece struct {
	cook.Piece
	core     *outlook.Merge
	track    tracker
	watch    *alarm.Piece
	sample   *estimator.Sample // of the instant being applied
	forecast estimator.Forecast
	known    bool // a forecast has been made
	off      bool
	advice   advice
	smoke    *stage       // while it is on the fire
	after    *stage       // held or chilled, once it came off; nil before
	cools    *alarm.Limit // its alarms, there from the start so that kept ones find them
}

// newFire builds the watches of a cook; its probes get theirs.
func (m *State) newFire(s cook.Stored) *fire {
	id := int64(s.ID)
	f := &fire{stored: s, level: outlook.NewPitMerge(s.Cook), hush: alarm.NewHush(id, m.o.Settings, m.words),
		pit:    alarm.NewPit(id, m.o.Settings, m.words, s.Started, s.Pit.SetPoint),
		spoken: map[cook.ProbeID]time.Time{}, took: m.uptime, lag: lag{since: m.uptime}}
	f.sense = sense.New(f.placeOf)
	f.sortEvents()
	for _, p := range s.Pieces {
		var beside tracker
		if len(f.pieces) > 0 {
			beside = f.pieces[0].track
		}
		f.pieces = append(f.pieces, &piece{Piece: p, core: outlook.NewPieceMerge(s.Cook, p),
			track: m.track(outlook.FromCook(s.Cook, p), beside),
			watch: alarm.NewPiece(id, string(p.ID), p.Intact, m.o.Settings, m.words),
			smoke: m.newStage(implied(p, cook.StageSmoke, s.Started), s.ID),
			cools: m.newStage(implied(p, cook.StageHold, s.Started), s.ID).limit})
	}
	for id := range m.probes {
		m.enlist(f, id)
	}
	for _, p := range s.Pieces {
		for _, id := range p.ProbeIDs() {
			m.probe(id, m.o.Roles[id])
			m.enlist(f, id)
		}
	}
	return f
}

func (f *fire) sortEvents() {
	f.stored.Events = slices.Clone(f.stored.Events)
	slices.SortStableFunc(f.stored.Events, func(a, b cook.Event) int { return a.Time.Compare(b.Time) })
}

// enlist gives a probe to the cook that it measures, unless a newer running cook has it, or it is the pit's and another has
// it, or the cook has enough.
func (m *State) enlist(f *fire, id cook.ProbeID) {
	p := m.probes[id]
	if p.air != nil || p.cooler != nil || !outlook.Belongs(f.stored.Cook, id) {
		return
	}
	q := f.pieceOf(id)
	if p.fire != nil && p.fire != f && (q == nil || p.fire.stored.ID > f.stored.ID) {
		return
	}
	if q == nil && p.fire != f && m.pitProbes(f) >= maxPitProbes {
		return
	}
	p.fire, p.piece = f, ""
	if q != nil {
		p.piece = q.ID
	}
	old := p.watch
	p.watch = alarm.NewProbe(id, int64(f.stored.ID), string(p.piece), m.o.Settings, m.words)
	if old != nil {
		for i, c := range p.watch.Conditions() {
			c.Adopt(old.Conditions()[i].Alarm())
		}
	}
}

func (f *fire) pieceOf(id cook.ProbeID) *piece {
	for _, p := range f.pieces {
		if slices.Contains(p.ProbeIDs(), id) {
			return p
		}
	}
	return nil
}

// placeOf tells where a probe of the cook measures.
func (f *fire) placeOf(id cook.ProbeID) sense.Place {
	if p := f.pieceOf(id); p != nil {
		return sense.Place{Piece: p.ID}
	}
	return sense.Place{Pit: f.stored.Pit.OwnsProbe(id)}
}

func (f *fire) conditions() []*alarm.Condition {
	out := append(f.pit.Conditions(), f.hush.Conditions()...)
	for _, p := range f.pieces {
		out = append(out, p.watch.Conditions()...)
		out = append(out, p.smoke.limit.Conditions()...)
		out = append(out, p.cools.Conditions()...)
	}
	return out
}

// apply takes sorted readings instant by instant and makes the forecast of each minute that ends.
func (f *fire) apply(m *State, sorted []cook.Reading) []Effect {
	var out []Effect
	for i := 0; i < len(sorted); {
		at, j := sorted[i].Time, i+1
		for j < len(sorted) && sorted[j].Time.Equal(at) {
			j++
		}
		if f.frontier.After(f.keptAt) && minuteEnd(at).After(minuteEnd(f.frontier)) {
			out = append(out, f.foresee(m, true)...)
		}
		out = append(out, f.instant(m, sorted[i:j])...)
		i = j
	}
	return out
}

// minuteEnd is the whole minute at which the minute of t ends.
func minuteEnd(t time.Time) time.Time {
	end := t.Truncate(time.Minute)
	if end.Before(t) {
		end = end.Add(time.Minute)
	}
	return end
}

// instant applies the readings of one moment.
func (f *fire) instant(m *State, readings []cook.Reading) []Effect {
	f.frontier = readings[0].Time
	out := f.emit(m, f.frontier, f.passEvents(m))
	return append(out, f.observe(m, readings)...)
}

// observe shows readings of one moment to the watches.
func (f *fire) observe(m *State, readings []cook.Reading) []Effect {
	at := readings[0].Time
	var changes []alarm.Change
	for _, r := range readings {
		f.spoken[r.Probe] = at
		f.device = f.device || r.Clock != cook.HandClock
		f.sense.Observe(r)
		if p := m.probes[r.Probe]; p != nil && p.fire == f {
			changes = append(changes, p.watch.Observe(r)...)
		}
	}
	if s := f.feed(readings); s != nil {
		changes = append(changes, f.pit.Observe(at, s.Celsius, f.setPoint(at), f.idle())...)
	}
	for _, p := range f.pieces {
		if p.sample != nil {
			p.watch.Observe(at, p.sample.Celsius)
		}
		changes = append(changes, f.clock(m, p, readings)...)
	}
	return f.emit(m, at, changes)
}

// emit turns changes that readings at a time brought into effects.
func (f *fire) emit(m *State, at time.Time, changes []alarm.Change) []Effect {
	if f.rehearse {
		return nil
	}
	return m.alarmed(changes, f.current(m, m.asOf(), at))
}

// feed gives readings of one moment to the forecasters; it returns the pit's sample and leaves each piece's in it.
func (f *fire) feed(readings []cook.Reading) (pit *estimator.Sample) {
	for _, s := range f.level.Add(readings) {
		pit = &s
		f.pieces[0].track.AddPit(s)
	}
	for _, p := range f.pieces {
		p.sample = nil
		for _, s := range p.core.Add(readings) {
			p.track.AddCore(s)
			p.sample = &s
		}
	}
	return pit
}
