package monitor

import (
	"fmt"
	"slices"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
)

// Forecasts of a cooling. In its first half hour the forecaster's physics, fitted to the readings, warns if it is sure; from then on the
// last half hour is continued. On simulated coolings either alone was worse: see testdata/README.md.
const (
	cooledOver = 240                  // minutes of readings that the fit is given at most
	fitFrom    = 5 * time.Minute      // of the leg, before it is forecast at all
	stillHot   = thermal.Celsius(0.5) // below its highest: the middle has not begun to cool
	insideLags = 45 * time.Minute     // the middle behind the surface
)

// keepCooled keeps the level of each minute.
func (c *clocks) keepCooled() {
	if n := len(c.cooled); n > 0 && c.at.Sub(c.cooled[n-1].Time) < time.Minute {
		return
	}
	if len(c.cooled) >= cooledOver {
		c.cooled = append(c.cooled[:0], c.cooled[1:]...)
	}
	c.cooled = append(c.cooled, estimator.Sample{Time: c.at, Celsius: c.level})
}

// sinceHot gives the kept levels from when the piece began to cool: its middle stays as hot as it was for a while when its surface is cold
// already.
func (c *clocks) sinceHot() []estimator.Sample {
	top, last := thermal.Celsius(-300), time.Time{}
	for _, s := range c.cooled {
		if top = max(top, s.Celsius); s.Celsius >= top-stillHot {
			last = s.Time
		}
	}
	from := slices.IndexFunc(c.cooled, func(s estimator.Sample) bool { return last.Sub(s.Time) <= insideLags })
	return c.cooled[from:]
}

// comesDown forecasts when the piece comes down to the end of a leg of the cooling rule.
func (s *stage) comesDown(m *State, c *clocks, leg int) foreseen {
	_, rule := m.o.Safety.Cooling()
	running := c.at.Sub(c.chill.Legs()[leg].Since)
	switch {
	case running < fitFrom:
		return foreseen{}
	case running < trendOver:
		if fit := s.fit(m, c); fit != nil {
			return fit[leg]
		}
		return foreseen{}
	}
	at, ok := c.falls(float64(thermal.FromFahrenheit(rule.Stages[leg].ToF)), chillAir)
	return foreseen{at: at, known: ok}
}

// fit forecasts every leg by the forecaster's physics, once a minute; nil when it cannot. A forecaster that panics is counted, and costs
// its forecast.
func (s *stage) fit(m *State, c *clocks) (out []foreseen) {
	minute := c.at.Truncate(time.Minute)
	if m.cool == nil || minute.Equal(c.fitAt) {
		return c.fitted
	}
	c.fitted, c.fitAt = nil, minute
	defer func() {
		if cause := recover(); cause != nil {
			m.failures++
			m.unsaid = append(m.unsaid, fmt.Errorf("the forecaster failed on the cooling of %s: %v: please report it with its readings", s.title(), cause))
		}
	}()
	_, rule := m.o.Safety.Cooling()
	var to []thermal.Celsius
	for _, stage := range rule.Stages {
		to = append(to, thermal.FromFahrenheit(stage.ToF))
	}
	w := s.watch
	after, ok := m.cool(estimator.Chill{Where: estimator.Somewhere, Ambient: chillAir,
		Piece: estimator.Input{Cut: estimator.Cut(w.Cut), MassKg: w.MassKg, ThicknessMM: w.ThicknessMM, Core: c.sinceHot()}}, to...)
	if !ok {
		return nil
	}
	instant := func(d time.Duration) time.Time {
		if d < 0 {
			return time.Time{}
		}
		return c.at.Add(d)
	}
	for _, q := range after {
		c.fitted = append(c.fitted, foreseen{at: instant(q[3]), known: true, fitted: true, soonest: instant(q[1])})
	}
	return c.fitted
}
