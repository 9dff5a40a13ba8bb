package monitor

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/outlook"
)

// CookChanged takes a cook that was started, changed or ended, as it is stored now.
func (m *State) CookChanged(s cook.Stored, now time.Time) []Effect {
	m.advance(now)
	f := m.find(s.ID)
	switch {
	case f == nil && !s.Running():
		return nil
	case f == nil:
		out := m.cede(s.Cook)
		m.light(s)
		return append(out, Effect{Recount: s.ID})
	case !s.Running():
		return m.end(f)
	case f.waits || otherProbes(f.stored.Cook, s.Cook):
		if !f.waits {
			f.waits, f.waitsSince = true, m.uptime
		}
		f.stored = s
		return []Effect{{Recount: s.ID}}
	}
	out := f.amend(m, s)
	if f.counting {
		f.counting = false
		out = append(out, Effect{Recount: s.ID}) // from the beginning, with what is known now
	}
	return out
}

func (m *State) find(id cook.ID) *fire {
	i := slices.IndexFunc(m.fires, func(f *fire) bool { return f.stored.ID == id })
	if i < 0 {
		return nil
	}
	return m.fires[i]
}

// light begins to watch a cook, which waits until it is counted.
func (m *State) light(s cook.Stored) {
	f := m.newFire(s)
	f.waits, f.waitsSince = true, m.uptime
	m.fires = append(m.fires, f)
	slices.SortFunc(m.fires, func(a, b *fire) int { return cmp.Compare(a.stored.ID, b.stored.ID) })
	m.adopt(f.conditions())
	for _, p := range m.byName() {
		if p.fire == f {
			p.quiet = m.uptime // waited for from now on
			m.adopt(p.conditions())
		}
	}
}

// cede frees the probes of a cook's pieces from the cooks that had them: what is put into new meat has left the old. Their
// alarms end, so that the new cook's are its own, and told.
func (m *State) cede(to cook.Cook) []Effect {
	var changes []alarm.Change
	for _, piece := range to.Pieces {
		for _, id := range piece.ProbeIDs() {
			p := m.probes[id]
			if p == nil || p.fire == nil {
				continue
			}
			for _, c := range p.watch.Conditions() {
				if change, ok := c.Cover(m.now, "the probe measures in a newer cook now"); ok {
					changes = append(changes, change)
				}
			}
			p.fire, p.piece, p.watch = nil, "", nil
		}
	}
	return m.alarmed(changes, false)
}

// otherProbes reports whether readings would have to be sorted anew.
func otherProbes(a, b cook.Cook) bool {
	return !a.Started.Equal(b.Started) || !slices.Equal(a.Pit.Probes, b.Pit.Probes) ||
		!slices.EqualFunc(a.Pieces, b.Pieces, func(p, q cook.Piece) bool {
			return p.ID == q.ID && p.Intact == q.Intact && p.Cut == q.Cut && slices.Equal(p.ProbeIDs(), q.ProbeIDs())
		})
}

// amend takes over what was done or is aimed at, and forecasts anew.
func (f *fire) amend(m *State, s cook.Stored) []Effect {
	f.stored = s
	f.sortEvents()
	for i, p := range f.pieces {
		p.Piece = s.Pieces[i]
		p.track.Amend(outlook.FromCook(s.Cook, p.Piece))
		p.advice = advice{}
	}
	f.worked = 0
	out := f.emit(m, f.frontier, f.passEvents(m))
	return append(out, f.foresee(m, true)...)
}

// end applies what is still held back, makes the last forecast, and takes the cook's alarms back.
func (m *State) end(f *fire) []Effect {
	var rest []cook.Reading
	for _, h := range f.held {
		rest = append(rest, h.Reading)
	}
	outlook.Sort(rest)
	var out []Effect
	if !f.waits {
		if out = f.apply(m, rest); f.frontier.After(f.keptAt) {
			out = append(out, f.foresee(m, true)...)
		}
	}
	conditions := f.conditions()
	for _, p := range m.byName() {
		if p.fire == f {
			conditions = append(conditions, p.conditions()...)
		}
	}
	var changes []alarm.Change
	for _, c := range conditions {
		if change, ok := c.Cover(m.now, "the cook was ended"); ok {
			changes = append(changes, change)
		}
	}
	m.delist(f)
	m.fires = slices.DeleteFunc(m.fires, func(g *fire) bool { return g == f })
	m.handBack()
	return append(out, m.alarmed(changes, false)...)
}

// delist gives the cook's probes back; a declared one stands by itself again.
func (m *State) delist(f *fire) {
	for _, p := range m.probes {
		if p.fire != f {
			continue
		}
		p.fire, p.piece, p.watch = nil, "", nil
		if p.role != "" || p.staged {
			p.watch = alarm.NewProbe(p.id, 0, "", m.o.Settings, m.words)
		}
	}
}

// handBack gives probes that are free to the running cooks that they measure too, the newest first.
func (m *State) handBack() {
	for _, f := range slices.Backward(m.fires) {
		for _, p := range m.byName() {
			if p.fire == nil {
				if m.enlist(f, p.id); p.fire == f {
					p.quiet = m.uptime // waited for from now on
				}
			}
		}
	}
}

// of lists the conditions of a cook and of its probes.
func (m *State) of(f *fire) []*alarm.Condition {
	out := f.conditions()
	for _, p := range m.byName() {
		if p.fire == f {
			out = append(out, p.conditions()...)
		}
	}
	return out
}

// reconcile joins what a recount found with what was known: known states stay, new ones come out as changes.
func (m *State) reconcile(f *fire, before map[alarm.ID]alarm.Alarm) []Effect {
	var changes []alarm.Change
	for _, c := range m.of(f) {
		found, known := c.Alarm(), before[c.Alarm().ID]
		stood := known.State == alarm.Active || known.State == alarm.Acked || known.State == alarm.Shelved
		isNew := found.Raised.After(known.Raised) && (found.State == alarm.Active || found.State == alarm.Returned)
		again := known.State == alarm.Acked && found.State == alarm.Active && found.Raised.After(known.Changed) // it had ended meanwhile
		switch {
		case known.ID == "" && !isNew:
		case stood && !again || !isNew:
			c.Adopt(known)
		default:
			changes = append(changes, alarm.Change{Alarm: found, From: alarm.Normal, Because: found.Because, Call: found.State == alarm.Active})
		}
	}
	return m.alarmed(changes, f.current(m, m.asOf(), f.frontier))
}

// Acknowledge takes note that a person knows of an alarm.
func (m *State) Acknowledge(id alarm.ID, by string, now time.Time) ([]Effect, error) {
	m.advance(now)
	c, err := m.condition(id)
	if err != nil {
		return nil, err
	}
	change, err := c.Acknowledge(now, by)
	if err != nil {
		return nil, err
	}
	return m.alarmed([]alarm.Change{change}, true), nil
}

// Shelve puts an alarm aside until a time within the next 24 hours.
func (m *State) Shelve(id alarm.ID, until time.Time, by string, now time.Time) ([]Effect, error) {
	m.advance(now)
	c, err := m.condition(id)
	if err != nil {
		return nil, err
	}
	change, err := c.Shelve(now, until, by)
	if err != nil {
		return nil, err
	}
	return m.alarmed([]alarm.Change{change}, true), nil
}

func (m *State) condition(id alarm.ID) (*alarm.Condition, error) {
	for _, c := range m.conditions() {
		if c.Alarm().ID == id {
			return c, nil
		}
	}
	return nil, fmt.Errorf("alarm %q: %w", id, cook.ErrNotFound)
}

// WhatIf forecasts a piece of a running cook as if the events were done; those in the past count as done now.
func (m *State) WhatIf(id cook.ID, pieceID cook.PieceID, events []cook.Event) (estimator.Forecast, error) {
	f := m.find(id)
	if f == nil {
		return estimator.Forecast{}, fmt.Errorf("running cook %d: %w", id, cook.ErrNotFound)
	}
	i := slices.IndexFunc(f.pieces, func(p *piece) bool { return p.ID == pieceID })
	if i < 0 {
		return estimator.Forecast{}, fmt.Errorf("piece %q in cook %d: %w", strings.ToValidUTF8(string(pieceID), "?"), id, cook.ErrNotFound)
	}
	if f.frontier.IsZero() {
		return estimator.Forecast{}, fmt.Errorf("cook %d has no readings yet: %w", id, cook.ErrConflict)
	}
	actions, err := outlook.Actions(events, f.frontier)
	if err != nil {
		return estimator.Forecast{}, err
	}
	p := f.pieces[i]
	return m.guarded(p, f.frontier, func() estimator.Forecast { return p.track.WhatIf(f.frontier, actions...) })
}
