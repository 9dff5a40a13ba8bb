package monitor

import (
	"maps"
	"slices"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

// fire is a running cook.
type fire struct {
	stored cook.Stored
	pit    *alarm.Pit
	level  *outlook.Merge
	pieces []*piece
	hush   *alarm.Hush

	held     []held                     // not yet applied
	frontier time.Time                  // newest applied reading
	forecast time.Time                  // at of the newest forecast
	keptAt   time.Time                  // at of the newest forecast that was kept
	took     time.Duration              // uptime of the newest arrival
	spoken   map[cook.ProbeID]time.Time // newest applied reading of each probe
	worked   int                        // effective events whose time has been passed
	late     bool                       // readings came behind the frontier: count again when it has calmed
	lateAt   time.Duration              // uptime of the newest of them
	counted  time.Time                  // newest arrival among the readings of the last recount
	lag      time.Duration              // of the newest reading to the daemon's clock, as it has stood
	lagSince time.Duration              // since this uptime
	rehearse bool                       // counting old readings: no alarm changes come out
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
	advice   string
	advised  time.Time // at of the forecast the advice was sought for
}

// newFire builds the watches of a cook; its probes get theirs.
func (m *State) newFire(s cook.Stored) *fire {
	id := int64(s.ID)
	f := &fire{stored: s, level: outlook.NewPitMerge(s.Cook), hush: alarm.NewHush(id, m.o.Settings, m.words),
		pit:    alarm.NewPit(id, m.o.Settings, m.words, s.Started, s.Pit.SetPoint),
		spoken: map[cook.ProbeID]time.Time{}, took: m.uptime, lagSince: m.uptime}
	f.sortEvents()
	for _, p := range s.Pieces {
		f.pieces = append(f.pieces, &piece{Piece: p, core: outlook.NewPieceMerge(s.Cook, p),
			track: m.track(outlook.FromCook(s.Cook, p)),
			watch: alarm.NewPiece(id, string(p.ID), p.Intact, m.o.Settings, m.words)})
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

// enlist gives a probe to the cook that it measures, unless another running cook has it.
func (m *State) enlist(f *fire, id cook.ProbeID) {
	p := m.probes[id]
	if p.air != nil || p.cooler != nil || !outlook.Belongs(f.stored.Cook, id) {
		return
	}
	if p.fire != nil && p.fire.stored.ID != f.stored.ID {
		return
	}
	p.fire, p.piece = f, ""
	if q := f.pieceOf(id); q != nil {
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

func (f *fire) conditions() []*alarm.Condition {
	out := append(f.pit.Conditions(), f.hush.Conditions()...)
	for _, p := range f.pieces {
		out = append(out, p.watch.Conditions()...)
	}
	return out
}

// Holding back, and when a pause or lateness has calmed.
const (
	hold       = 3 * time.Second  // uptime
	holdNewest = time.Minute      // reading time
	speaking   = 2 * time.Minute  // reading time: a probe that spoke this recently is waited for
	pauseAfter = 20 * time.Second // uptime
	calm       = 30 * time.Second // uptime
	fresh      = 10 * time.Minute // readings younger than this tell of now
	steadyFor  = 15 * time.Minute // uptime
	steady     = 2 * time.Minute
)

// take accepts a reading that just came.
func (f *fire) take(m *State, r cook.Reading) []Effect {
	if p := m.probes[r.Probe]; p.fire == nil {
		m.enlist(f, r.Probe)
	}
	if !r.Arrived.IsZero() && !r.Arrived.After(f.counted) || !f.wants(r) {
		return nil // counted already, or not ours
	}
	f.took = m.uptime
	if !r.Time.After(f.frontier) {
		return f.behind(m, r)
	}
	f.held = append(f.held, held{r, m.uptime})
	f.noteLag(m, m.now.Sub(r.Time))
	return nil
}

// wants reports whether a reading is the cook's: one that counts, or one of bad quality that tells of its probe.
func (f *fire) wants(r cook.Reading) bool {
	own := r.Live() || r.Clock != cook.ArrivalClock
	return own && !r.Time.Before(f.stored.Started) && outlook.Belongs(f.stored.Cook, r.Probe)
}

// behind takes a reading that came after newer ones were applied. In its probe's own order it counts at once, as one of
// a probe whose clock is slow; else only the forecaster gets it, and the rest comes with a recount.
func (f *fire) behind(m *State, r cook.Reading) []Effect {
	newer := r.Time.After(f.spoken[r.Probe])
	if !newer || !f.alone(r.Probe) {
		f.late, f.lateAt = true, m.uptime
	}
	if !newer {
		f.feed([]cook.Reading{r})
		return nil
	}
	return f.observe(m, []cook.Reading{r})
}

// alone reports whether the probe's readings are joined with no other probe's.
func (f *fire) alone(id cook.ProbeID) bool {
	if p := f.pieceOf(id); p != nil {
		return len(p.ProbeIDs()) == 1
	}
	for other := range f.spoken {
		if other != id && f.stored.Pit.OwnsProbe(other) {
			return false
		}
	}
	return true
}

func (f *fire) noteLag(m *State, lag time.Duration) {
	if d := lag - f.lag; d > steady || d < -steady {
		f.lag, f.lagSince = lag, m.uptime
	}
}

// current reports whether the cook's readings at a time tell of now.
func (f *fire) current(m *State, at time.Time) bool {
	return m.now.Sub(at) < fresh || m.uptime-f.lagSince >= steadyFor && m.uptime-f.took < fresh
}

// drain applies what need not be held back any longer.
func (f *fire) drain(m *State) []Effect {
	if len(f.held) == 0 {
		return nil
	}
	slices.SortStableFunc(f.held, func(a, b held) int { return outlook.Order(a.Reading, b.Reading) })
	limit := f.watermark()
	for _, h := range f.held {
		if m.uptime-h.since >= hold && h.Time.After(limit) {
			limit = h.Time
		}
	}
	var due []cook.Reading
	for len(due) < len(f.held) && !f.held[len(due)].Time.After(limit) {
		due = append(due, f.held[len(due)].Reading)
	}
	f.held = slices.Delete(f.held, 0, len(due))
	return f.apply(m, due)
}

// watermark is the time up to which every probe that still speaks, or is to begin, has spoken.
func (f *fire) watermark() time.Time {
	newest := f.held[len(f.held)-1].Time
	mark := newest
	if f.frontier.IsZero() {
		mark = time.Time{} // who else will speak is not known yet
	}
	spoke := map[cook.ProbeID]time.Time{}
	for _, p := range f.pieces {
		for _, id := range p.ProbeIDs() {
			spoke[id] = f.stored.Started
		}
	}
	maps.Copy(spoke, f.spoken)
	for _, h := range f.held {
		spoke[h.Probe] = h.Time
	}
	for _, t := range spoke {
		if newest.Sub(t) < speaking && t.Before(mark) {
			mark = t
		}
	}
	if least := newest.Add(-holdNewest); mark.Before(least) {
		return least
	}
	return mark
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
		if p := m.probes[r.Probe]; p.fire == f {
			changes = append(changes, p.watch.Observe(r)...)
		}
	}
	if s := f.feed(readings); s != nil {
		changes = append(changes, f.pit.Observe(at, s.Celsius, f.setPoint(at), f.idle())...)
	}
	for _, p := range f.pieces {
		if p.sample != nil {
			changes = append(changes, p.watch.Observe(at, p.sample.Celsius)...)
		}
	}
	return f.emit(m, at, changes)
}

// emit turns changes that readings at a time brought into effects.
func (f *fire) emit(m *State, at time.Time, changes []alarm.Change) []Effect {
	if f.rehearse {
		return nil
	}
	return m.alarmed(changes, f.current(m, at))
}

// feed gives readings of one moment to the forecasters; it returns the pit's sample and leaves each piece's in it.
func (f *fire) feed(readings []cook.Reading) (pit *estimator.Sample) {
	for _, s := range f.level.Add(readings) {
		pit = &s
		for _, p := range f.pieces {
			p.track.AddPit(s)
		}
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

// passEvents lets the watches know of what was done up to the frontier.
func (f *fire) passEvents(m *State) []alarm.Change {
	var out []alarm.Change
	for f.worked < len(f.stored.Events) && !f.stored.Events[f.worked].Time.After(f.frontier) {
		e := f.stored.Events[f.worked]
		f.worked++
		switch e.Kind {
		case cook.EventSetPoint, cook.EventFuel:
			continue
		}
		for _, p := range f.pieces {
			if e.Piece != "" && e.Piece != p.ID {
				continue
			}
			f.atHand(m, p, e.Time)
		}
	}
	for _, p := range f.pieces {
		off := f.offAt(p.ID)
		if off != p.off {
			p.off = off
			out = append(out, p.watch.Off(f.frontier, off)...)
		}
	}
	return out
}

// offAt reports whether the piece has been taken off by the frontier.
func (f *fire) offAt(id cook.PieceID) bool {
	return slices.ContainsFunc(f.stored.Events[:f.worked], func(e cook.Event) bool {
		return e.Kind == cook.EventPieceOff && (e.Piece == "" || e.Piece == id)
	})
}

// idle reports whether nothing is on the fire.
func (f *fire) idle() bool {
	return !slices.ContainsFunc(f.pieces, func(p *piece) bool { return !p.off })
}

// setPoint is the setpoint in force: the newest of the events and of the plan.
func (f *fire) setPoint(at time.Time) thermal.Celsius {
	point, since := f.stored.Pit.SetPoint, time.Time{}
	newer := func(t time.Time, c thermal.Celsius) {
		if !t.After(at) && !t.Before(since) {
			point, since = c, t
		}
	}
	for _, q := range f.stored.Pit.Plan {
		newer(q.At, q.SetPoint)
	}
	for _, e := range f.stored.Events {
		if e.Kind == cook.EventSetPoint {
			newer(e.Time, e.Celsius)
		}
	}
	return point
}
