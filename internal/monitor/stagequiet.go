package monitor

import (
	"fmt"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/safety"
	"stallkeeper/internal/when"
)

// stageNeeds are the times at which the clocks of watched stages want somebody: those of lots, and what running cooks imply for a piece
// that came off. A clock that runs does at the time when it runs out, whatever a forecast hopes; a hold that sinks when it is warned of.
func (m *State) stageNeeds() []need {
	var out []need
	for _, s := range m.stages {
		if s.watch.Until.IsZero() && m.now.Sub(s.at()) < fresh {
			out = append(out, s.needs(m, m.pieceOn(s))...)
		}
	}
	for _, f := range m.fires {
		for _, p := range f.pieces {
			switch {
			case m.inLot(p.Piece):
			case p.after != nil && m.now.Sub(p.after.at()) < fresh: // else it was eaten, or nobody can say
				out = append(out, p.after.needs(m, nil)...)
			case p.after == nil && f.current(m, m.now, f.frontier):
				out = append(out, p.smoke.needs(m, p)...)
			}
		}
	}
	return out
}

// needs are those of one stage.
func (s *stage) needs(m *State, p *piece) []need {
	c := s.decisive()
	switch {
	case c == nil:
		return nil
	case s.coolerStage():
		return s.coolerNeed(m, c)
	case !wakes(s.limit.Conditions()[0].Alarm().Priority): // the come-up of an intact piece, unless a shop wants it otherwise
		return nil
	case s.watch.Stage == cook.StageSmoke:
		return s.comeUpNeed(c, p)
	case s.watch.Stage == cook.StageHold && s.cook == 0:
		return s.holdNeed(m, c)
	case c.chill.Pulled():
		return nil
	}
	var out []need
	_, rule := m.o.Safety.Cooling()
	for i, l := range c.chill.Legs() {
		to := thermal.FromFahrenheit(rule.Stages[i].ToF)
		out = append(out, runsOut(l, c, fmt.Sprintf("%s must be down to %s (the limit of its cooling)", s.title(), to))...)
	}
	return out
}

// wakes reports whether an alarm of that priority wants somebody within minutes.
func wakes(p alarm.Priority) bool { return p == alarm.Medium || p == alarm.High }

// coolerNeed is when the alarm of a cooler that is outside its limits comes.
func (s *stage) coolerNeed(m *State, c *clocks) []need {
	rule := m.stageRule(s.watch.Stage)
	since, _ := c.keep.Outside()
	if since.IsZero() || !c.keep.Settled() || !wakes(rule.Priority) {
		return nil
	}
	return []need{{since.Add(rule.OnDelay), fmt.Sprintf("cooler %s must be within the limits of the %s of lot %s again", c.id, s.watch.Stage, s.watch.Lot)}}
}

// runsOut is the need of a clock that runs; none of one that does not, or that is decided.
func runsOut(p safety.Progress, c *clocks, what string) []need {
	due := p.Due(c.at)
	if due.IsZero() || p.Outcome != safety.Unknown {
		return nil
	}
	return []need{{due, what}}
}

// comeUpNeed is the end of the come-up's time, unless the forecaster sees the piece through before with nine chances in ten.
func (s *stage) comeUpNeed(c *clocks, p *piece) []need {
	u := c.cooking.ComeUp()
	due := u.Due(c.at)
	if p != nil {
		for _, q := range p.forecast.Path {
			if q.Time.After(due) {
				break
			}
			if float64(q.P10) >= passed {
				return nil
			}
		}
	}
	return runsOut(u, c, fmt.Sprintf("%s must have passed 54.4 °C, 130 °F (the limit of its warming up)", s.title()))
}

// holdNeed is when people are warned of a hold that sinks.
func (s *stage) holdNeed(m *State, c *clocks) []need {
	if out := runsOut(c.keep.Progress(), c, fmt.Sprintf("%s must be above %s again", s.title(), c.keep.Low)); len(out) > 0 {
		return out
	}
	if c.chill.Pulled() || c.inAir() || !c.keep.Settled() {
		return nil
	}
	at, known := c.falls(float64(c.keep.Low), holdAir)
	if !known || at.IsZero() {
		return nil
	}
	return []need{{at.Add(-holdWarning), fmt.Sprintf("%s may be sinking to the limit of its holding, %s, by forecast at %s", s.title(), c.keep.Low, when.Near(at, m.now, m.o.Zone))}}
}

// first gives the earliest need, ok false when there is none.
func first(needs []need) (n need, ok bool) {
	for _, x := range needs {
		if !ok || x.at.Before(n.at) {
			n, ok = x, true
		}
	}
	return n, ok
}

// stageUnwatched says which probe of a lot's stage is missed; empty when none is.
func (m *State) stageUnwatched() string {
	for _, p := range m.byName() {
		switch {
		case !p.staged || p.fire != nil:
		case m.silent(p):
			return fmt.Sprintf("Probe %s is silent, so nobody can say.", p.id)
		case p.watch.Suspect():
			return fmt.Sprintf("Probe %s cannot be believed, so nobody can say.", p.id)
		}
	}
	return ""
}

// earlier joins the quiet time of the fires with what stages need.
func (q QuietUntil) earlier(n need) QuietUntil {
	if q.Known && !n.at.Before(q.Until) {
		return q
	}
	return QuietUntil{Known: true, Until: n.at, Because: fmt.Sprintf("Then %s.", n.what)}
}
