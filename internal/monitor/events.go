package monitor

import (
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

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
			f.sense.Worked(e.Time, p.ID)
		}
	}
	for _, p := range f.pieces {
		var plan alarm.WrapPlan
		if w := p.Piece.Plan; w != nil && !f.done(cook.EventWrap, p.ID) {
			plan = alarm.WrapPlan{With: w.Wrap, Core: w.AtC, At: w.At}
		}
		p.watch.Plan(plan)
		off := f.done(cook.EventPieceOff, p.ID)
		if off != p.off {
			p.off = off
			out = append(out, p.watch.Off(f.frontier, off)...)
			out = append(out, f.takenOff(m, p)...)
		}
	}
	return out
}

// done reports whether something was done to the piece by the frontier.
func (f *fire) done(kind cook.EventKind, id cook.PieceID) bool {
	return slices.ContainsFunc(f.stored.Events[:f.worked], func(e cook.Event) bool {
		return e.Kind == kind && (e.Piece == "" || e.Piece == id)
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

// sharesPit reports whether both cooks read one pit probe.
func (f *fire) sharesPit(g *fire) bool {
	for id := range f.spoken {
		if f.stored.Pit.OwnsProbe(id) && g.stored.Pit.OwnsProbe(id) {
			return true
		}
	}
	return false
}
