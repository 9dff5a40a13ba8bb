package monitor

import (
	"maps"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

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
func (f *fire) take(m *State, c Committed) []Effect {
	r := c.Reading
	p := m.probes[r.Probe]
	if p.fire == nil {
		m.enlist(f, r.Probe)
	}
	if c.Seq <= f.counted || !f.wants(r) || m.surplus(f, p) {
		return nil // counted already, or not ours
	}
	f.took = m.uptime
	if f.waits {
		f.lag.note(m.asOf().Sub(r.Time), m.uptime)
		f.device = f.device || r.Clock != cook.HandClock
		return nil // it is counted with the stored ones
	}
	if !r.Time.After(f.frontier) {
		return f.behind(m, r)
	}
	f.held = append(f.held, held{r, m.uptime})
	f.lag.note(m.asOf().Sub(r.Time), m.uptime)
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
	if p := f.pieceOf(r.Probe); p != nil && p.known && blank(p.forecast) {
		f.lacked = true // the pit's backlog came before the core's
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

// lag is by how much readings come after their time, as it has stood since an uptime. One that stands still is no backlog, which shrinks
// while it is sent, but a slow clock or a wrong time zone: its readings tell of now.
type lag struct{ by, since time.Duration }

func (l *lag) note(by, uptime time.Duration) {
	if d := by - l.by; d > steady || d < -steady {
		l.by, l.since = by, uptime
	}
}

func (l lag) steady(uptime time.Duration) bool { return uptime-l.since >= steadyFor }

// current reports whether the cook's readings at a time tell of a moment: of now, or of when they came in.
func (f *fire) current(m *State, moment, at time.Time) bool {
	return moment.Sub(at) < fresh || f.lag.steady(m.uptime) && m.uptime-f.took < fresh
}

// tells reports whether a reading that a probe took at a time tells of now.
func (m *State) tells(p *probe, at time.Time) bool {
	return m.asOf().Sub(at) < fresh || p.lag.steady(m.uptime) && m.uptime-p.quiet < fresh
}

// drain applies what need not be held back any longer.
func (f *fire) drain(m *State) []Effect {
	if len(f.held) == 0 || f.waits {
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
