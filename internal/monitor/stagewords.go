package monitor

import (
	"fmt"
	"math"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/safety"
)

// foreseen is a forecast of when a clock stops running. Zero At with Known: not within 36 h.
type foreseen struct {
	at    time.Time
	known bool

	fitted  bool      // by the forecaster's physics, of which soonest is the tenth percentile; zero: not within 36 h
	soonest time.Time //
}

// late reports whether the forecast lies behind the time it is due; of a fitted one, whether it does with nine chances in ten.
func (f foreseen) late(due time.Time) bool {
	at := f.at
	if f.fitted {
		at = f.soonest
	}
	return f.known && !due.IsZero() && (at.IsZero() || at.After(due))
}

// passes forecasts when the inside comes up to a temperature: by the forecaster of a running cook, else by its rate.
func (c *clocks) passes(to float64, p *piece) foreseen {
	if p != nil {
		for _, q := range p.forecast.Path {
			if float64(q.P50) >= to {
				return foreseen{at: q.Time, known: true}
			}
		}
		return foreseen{known: len(p.forecast.Path) > 0 && !blank(p.forecast)}
	}
	at, ok := c.rises(to)
	return foreseen{at: at, known: ok}
}

// warmedFor is how much of a limit must be used before a forecast of it is told; a cold piece has hardly begun. Choice of this project.
const warmedFor = time.Hour

// passed is the end of the come-up window, °C (130 °F).
const passed = 54.4

// standing puts the stage's limit into words for its alarms.
func (s *stage) standing(m *State, p *piece) alarm.Standing {
	var out alarm.Standing
	c := s.decisive()
	switch {
	case c == nil:
	case s.watch.Stage == cook.StageSmoke:
		out = s.warming(m, c, p)
	case s.coolerStage():
		out = s.keeping(m, c)
	case s.watch.Stage == cook.StageHold && s.cook == 0:
		out = s.holding(m, c)
	default:
		out = s.chilling(m, c)
	}
	if out.Well == "" {
		out.Well = fmt.Sprintf("%s is within its limit again.", s.title())
	}
	return out
}

func (s *stage) warming(m *State, c *clocks, p *piece) alarm.Standing {
	u := c.cooking.ComeUp()
	switch {
	case u.Used > u.Within:
		return alarm.Standing{Missed: m.words.ComeUpMissed(s.title(), u.Used, u.Within, c.level, s.watch.Intact)}
	case u.Used < warmedFor || u.Since.IsZero() || c.inAir():
		return alarm.Standing{}
	}
	due := u.Due(c.at)
	if f := c.passes(passed, p); f.late(due) {
		return alarm.Standing{Risk: m.words.ComeUpRisk(s.title(), due, f.at, c.at, u.Within, c.level)}
	}
	return alarm.Standing{}
}

func (s *stage) chilling(m *State, c *clocks) alarm.Standing {
	_, rule := m.o.Safety.Cooling()
	for i, l := range c.chill.Legs() {
		to := thermal.FromFahrenheit(rule.Stages[i].ToF)
		due := l.At.Add(l.Within - l.Used)
		switch {
		case l.Outcome == safety.Missed:
			return alarm.Standing{Missed: m.words.CoolingMissed(s.title(), to, due, c.at, c.level, fmt.Sprintf("%s, %s", rule.Source, l.Needed))}
		case l.Since.IsZero() || c.chill.Pulled():
			continue
		}
		if f := s.comesDown(m, c, i); f.late(due) {
			text := m.words.CoolingRisk(s.title(), to, due, f.at, c.at, c.level)
			if s.cook != 0 {
				text += " If it is being held hot, warm it to 60 °C or above."
			}
			return alarm.Standing{Risk: text}
		}
	}
	return alarm.Standing{}
}

func (s *stage) holding(m *State, c *clocks) alarm.Standing {
	low := c.keep.Low
	since, _ := c.keep.Outside()
	k := c.keep.Progress()
	switch {
	case c.chill.Pulled() || c.inAir():
		return alarm.Standing{}
	case !since.IsZero() && k.Used > k.Within:
		return alarm.Standing{Missed: m.words.HoldMissed(s.title(), low, since, c.at, c.level)}
	case !c.keep.Settled():
		return alarm.Standing{}
	case !since.IsZero():
		return alarm.Standing{Risk: m.words.HoldUnder(s.title(), low, since, c.at, c.level)}
	}
	if at, ok := c.falls(float64(low), holdAir); ok && !at.IsZero() && at.Sub(c.at) < holdWarning {
		return alarm.Standing{Risk: m.words.HoldRisk(s.title(), low, at, c.at, c.level)}
	}
	return alarm.Standing{}
}

func (s *stage) keeping(m *State, c *clocks) alarm.Standing {
	since, worst := c.keep.Outside()
	k := c.keep.Progress()
	if since.IsZero() || k.Used <= k.Within {
		return alarm.Standing{Well: fmt.Sprintf("Cooler %s is within the limits of lot %s again.", c.id, s.watch.Lot)}
	}
	limits := fmt.Sprintf("%.1f to %.1f °C", float64(c.keep.Low), float64(c.keep.High))
	if infinite(c.keep.Low) {
		limits = fmt.Sprintf("its limit %.1f °C", float64(c.keep.High))
	}
	return alarm.Standing{Missed: m.words.ColdMissed(fmt.Sprintf("The %s of lot %s", s.watch.Stage, s.watch.Lot), string(c.id), limits, since, c.at, k.Within, worst)}
}

// decisive is the probe that counts: the one whose first limit is worst.
func (s *stage) decisive() *clocks {
	var best *clocks
	var how safety.Progress
	for _, c := range s.clocks {
		if c.at.IsZero() {
			continue
		}
		p := s.first(c)
		if best == nil || worse(p, how) {
			best, how = c, p
		}
	}
	return best
}

func (s *stage) first(c *clocks) safety.Progress {
	switch {
	case s.watch.Stage == cook.StageSmoke:
		return c.cooking.ComeUp()
	case s.watch.Stage == cook.StageHold && s.cook == 0, s.coolerStage():
		return c.keep.Progress()
	}
	out := c.chill.Legs()[0]
	if out.Used == 0 && s.anyCools(0) {
		return safety.Progress{Verdict: safety.Verdict{Outcome: safety.Met}} // never hot: it says nothing beside one that was
	}
	for _, l := range c.chill.Legs()[1:] {
		if worse(l, out) {
			out = l
		}
	}
	return out
}

// view shows the stage. p is the piece of a running cook.
func (s *stage) view(m *State, p *piece) StageView {
	v := StageView{Watch: s.watch, Cook: s.cook, At: s.at(), Celsius: thermal.Celsius(math.NaN())}
	c := s.decisive()
	if c == nil {
		return v
	}
	v.Probe, v.Celsius = c.id, c.level
	switch {
	case s.watch.Stage == cook.StageSmoke:
		v.Clocks = s.smokeClocks(c, p)
	case s.coolerStage():
		v.Clocks = []Clock{clockOf(ClockCold, c, c.keep.Progress(), foreseen{})}
	case s.watch.Stage == cook.StageHold && s.cook == 0:
		v.Clocks = []Clock{holdClock(c), dangerClock(s.warmest())}
	default:
		v.Clocks = s.chillClocks(m, c)
		if s.cook != 0 && v.Clocks[0].State == ClockWaiting {
			v.Clocks = append([]Clock{holdClock(c)}, v.Clocks...)
		} else {
			v.Watch.Stage = cook.StageChill
		}
		v.Clocks = append(v.Clocks, dangerClock(s.warmest()))
	}
	return v
}

func (s *stage) smokeClocks(c *clocks, p *piece) []Clock {
	w := s.warmest()
	warm, up, cooked := w.warm.Progress(), c.cooking.ComeUp(), c.cooking.Cooked()
	warm.Set, up.Set, cooked.Set = dangerSet, s.set, s.set
	var out []Clock
	for _, k := range []struct {
		name ClockName
		of   *clocks
		p    safety.Progress
		to   float64
	}{{ClockDangerZone, w, warm, lukewarmTo}, {ClockComeUp, c, up, passed}, {ClockCooked, c, cooked, 0}} {
		var f foreseen
		if k.to > 0 && !k.p.Since.IsZero() {
			f = k.of.passes(k.to, p)
		}
		out = append(out, clockOf(k.name, k.of, k.p, f))
	}
	return out
}

func (s *stage) chillClocks(m *State, c *clocks) []Clock {
	var out []Clock
	for i, l := range c.chill.Legs() {
		name := ClockCooling1
		if i > 0 {
			name = ClockCooling2
		}
		l.Set = s.chills
		var f foreseen
		if !l.Since.IsZero() && !c.chill.Pulled() {
			f = s.comesDown(m, c, i)
		}
		out = append(out, clockOf(name, c, l, f))
	}
	return out
}

// dangerSet is the rule of the danger zone.
const dangerSet = "danger-zone-4h"

// dangerClock is the danger zone of a stage after the smoke: what was used up on the way to it counts.
func dangerClock(c *clocks) Clock {
	warm := c.warm.Progress()
	warm.Set = dangerSet
	return clockOf(ClockDangerZone, c, warm, foreseen{})
}

func holdClock(c *clocks) Clock { return clockOf(ClockHold, c, c.keep.Progress(), foreseen{}) }

// clockOf shows a limit. What falls or rises forecasts is shown only while the clock runs.
func clockOf(name ClockName, c *clocks, p safety.Progress, f foreseen) Clock {
	out := Clock{Name: name, Set: p.Set, Source: p.Source, Needed: p.Needed, Thumb: p.RuleOfThumb(), Probe: c.id, Used: p.Used, Unseen: p.Unseen, Within: p.Within,
		Since: p.Since, Due: p.Due(c.at), Because: p.Because, State: ClockUnknown}
	switch {
	case p.Outcome == safety.Met:
		out.State = ClockMet
	case p.Outcome == safety.Missed:
		out.State = ClockMissed
	case p.Open && p.Since.IsZero():
		out.State = ClockWaiting
	case p.Open:
		out.State = ClockRunning
	}
	if name == ClockCooked {
		out.Due = time.Time{}
	}
	if out.State == ClockRunning && name != ClockCooked {
		out.Forecast, out.AtRisk = f.at, f.late(out.Due)
	}
	return out
}
