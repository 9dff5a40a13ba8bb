package plan

import (
	"math"
	"slices"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
)

// never stands for a time beyond the forecaster's horizon.
const never = time.Duration(math.MaxInt64)

// smoke is the forecast of one piece as durations from a beginning: going on the pit, or the last step begun.
type smoke struct {
	p10, p50, p90 time.Duration // never where the level is not reached
	stall, over   time.Duration // median begin and end of the stall; never when none is expected
	wrap          time.Duration // median time at the wrap temperature; never when it is not passed
	draws         []time.Duration
	because       string
	foil          *smoke // the same piece wrapped in foil, where no wrap is planned
}

// Temperatures of the smoke stage.
const (
	fromFridge = thermal.Celsius(4)
	stallAt    = thermal.Celsius(65) // stalls lie at 65 to 77 °C; common practice, no source
	wrapAt     = thermal.Celsius(70) // common practice, no source
)

// offPit reports a piece that was ready already.
func (p Piece) offPit() bool { return slices.Contains([]StepID{Ready, Rest, Hold, Slice}, p.Done) }

// cold is the forecaster's input for a piece that goes from the cooler onto a settled pit at a time.
func (r Request) cold(p Piece, at time.Time) estimator.Input {
	return estimator.Input{Cut: p.Cut, MassKg: p.MassKg, ThicknessMM: p.ThicknessMM, Target: p.Target, Started: at,
		AltitudeM: r.AltitudeM, SetPoint: r.Pit, Fire: r.Fire, Plan: p.Wrap,
		Core: []estimator.Sample{{Time: at, Celsius: fromFridge}}, Pit: []estimator.Sample{{Time: at, Celsius: r.Pit}}}
}

// smoking forecasts the smoke stage of a piece.
func smoking(f Forecaster, r Request, p Piece) smoke {
	if p.offPit() {
		return smoke{stall: never, over: never, wrap: never}
	}
	if p.Cooking != nil {
		return read(*p.Cooking, p.DoneAt, p)
	}
	s := read(f.Forecast(r.cold(p, r.Now), r.Now), r.Now, p)
	if p.Wrap == nil && p.Target > wrapAt {
		q := p
		q.Wrap = &estimator.WrapPlan{With: estimator.Foil, AtCelsius: wrapAt}
		foil := read(f.Forecast(r.cold(q, r.Now), r.Now), r.Now, q)
		s.foil = &foil
	}
	return s
}

// read turns a forecast into durations since a beginning.
func read(f estimator.Forecast, begin time.Time, p Piece) smoke {
	since := func(t time.Time) time.Duration {
		if t.IsZero() {
			return never
		}
		return max(t.Sub(begin).Round(time.Minute), 0)
	}
	s := smoke{p10: since(f.Ready[1]), p50: since(f.Ready[3]), p90: since(f.Ready[5]), because: f.Because,
		stall: never, over: since(f.StallEnd), wrap: never}
	for _, d := range f.Draws {
		s.draws = append(s.draws, since(d.Ready))
	}
	wrap := wrapAt
	if p.Wrap != nil {
		wrap = p.Wrap.AtCelsius
	}
	s.wrap = s.before(passes(f, wrap, p.Target, since))
	if s.over != never || p.Wrap != nil {
		s.stall = s.before(passes(f, stallAt, p.Target, since))
	}
	if p.Wrap != nil {
		s.over = min(s.over, s.wrap)
	}
	if s.stall == never || s.over <= s.stall {
		s.stall, s.over = never, never
	}
	return s
}

// before gives never for what does not come before ready.
func (s smoke) before(d time.Duration) time.Duration {
	if s.p90 != never && d >= s.p90 {
		return never
	}
	return d
}

// passes is when the median of the core passes a temperature below the target.
func passes(f estimator.Forecast, c, target thermal.Celsius, since func(time.Time) time.Duration) time.Duration {
	if c >= target {
		return never
	}
	for i, q := range f.Path {
		if q.P50 < c {
			continue
		}
		if i == 0 {
			return never // it is past that already
		}
		return since(q.Time)
	}
	return never
}

// planLevel is the probability a plan is made for.
const planLevel = 0.9

// together is the probability that all pieces are ready when the plan counts with it, and how much earlier each would have
// to go on for planLevel of that; never when no earlier start within the horizon gives it. NaN when the forecasts cannot
// be combined, or nothing is left to cook. Draws of pieces in one pit share the fire draw by draw.
func together(all []*smoke) (p float64, earlier time.Duration) {
	if len(all) == 0 {
		return math.NaN(), never
	}
	n := len(all[0].draws)
	if n == 0 || slices.ContainsFunc(all, func(s *smoke) bool { return len(s.draws) != n || s.p90 == never }) {
		return math.NaN(), never
	}
	joint := func(earlier time.Duration) float64 {
		ready := 0
		for k := range n {
			if !slices.ContainsFunc(all, func(s *smoke) bool { return s.draws[k] > s.p90+earlier }) {
				ready++
			}
		}
		return float64(ready) / float64(n)
	}
	p = joint(0)
	if len(all) == 1 {
		return p, 0
	}
	for earlier = 0; earlier <= estimator.Horizon; earlier += 15 * minute {
		if joint(earlier) >= planLevel {
			return p, earlier
		}
	}
	return p, never
}

// reach is a need within the horizon, so that scenarios that never get there count as late.
func reach(d time.Duration) time.Duration {
	if d == never {
		return estimator.Horizon
	}
	return d
}
