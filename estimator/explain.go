package estimator

import (
	"fmt"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
)

// explain fills in the state and the sentence for the cook.
func (f *Forecast) explain(in *Input, s *scenarios, core []point) {
	sit := s.h.judge(in, f.At)
	f.State, f.Since = sit.state, time.UnixMilli(sit.since).UTC()
	last := time.UnixMilli(core[len(core)-1].ms)
	if f.At.Sub(last) > staleAfter && f.State != Cooling {
		f.State, f.Since = Unknown, last.UTC()
	}
	f.Loss = lossAt(s.evaporated(), float64(f.Core))
	if in.MassKg > 0 {
		f.WaterKg = f.Loss.Evaporated * in.MassKg
	}
	f.Because = f.sentence(&sit, s, s.outOfReach(in) == "") + s.fireOut(in) + f.obstacle(in, s)
}

// sentence says what the piece does and why; reachable is whether the target can be reached at all.
func (f *Forecast) sentence(sit *situation, s *scenarios, reachable bool) string {
	lasted := spell(f.At.Sub(f.Since))
	switch f.State {
	case Unknown:
		return fmt.Sprintf("there has been no core reading for %s, so the band rests on the pit alone", lasted)
	case Cooling:
		switch {
		case s.a.outage > 0:
			return "it is cooling"
		case s.h.gaps < 0.5 && s.a.now < float64(f.Core)+tooLittle:
			return fmt.Sprintf("it is cooling, the pit at %.0f °C gives it too little heat", s.a.now)
		}
		return "it is cooling: it was taken off or the fire is out"
	case Wrapped:
		return fmt.Sprintf("wrapped for %s, little evaporates and %s", lasted, paceWords(sit.pace))
	case Stall:
		water := ""
		if f.WaterKg > 0.05 {
			water = fmt.Sprintf("; about %.1f kg of water has gone so far", f.WaterKg)
		}
		spent := "evaporation uses up the heat that arrives"
		if s.a.now < float64(f.Core)+tooLittle {
			spent, reachable = fmt.Sprintf("little heat arrives from a pit at %.0f °C", s.a.now), false
		}
		remedy := ""
		if reachable {
			remedy = "; a wrap would end that"
		}
		return fmt.Sprintf("%s: from %.0f to %.0f °C in %s%s%s", spent, sit.low, sit.top, lasted, water, remedy)
	case Climbing:
		if f.Core < stallFrom {
			return fmt.Sprintf("%s with the pit at %.0f °C", paceWords(sit.pace), s.a.now)
		}
		return fmt.Sprintf("the surface has dried and %s with the pit at %.0f °C", paceWords(sit.pace), s.a.now)
	}
	if f.Core > 72 {
		return fmt.Sprintf("%s with the pit at %.0f °C; it has not stalled", paceWords(sit.pace), s.a.now)
	}
	return fmt.Sprintf("%s with the pit at %.0f °C; the stall is still to come if the surface stays wet", paceWords(sit.pace), s.a.now)
}

// tooLittle is how many K a pit must be above the core to drive it on in the open (a choice of this project, no source).
const tooLittle = 15.0

// fireOut says that the fire is out; empty when it burns.
func (s *scenarios) fireOut(in *Input) string {
	if s.a.outage == 0 {
		return ""
	}
	return fmt.Sprintf("; the pit has fallen to %.0f °C, %.0f below its setpoint, and has been low for %s: see to the fire; the band allows for the time until somebody does",
		s.a.now, s.a.setPoint-s.a.now, spell(time.Duration(s.a.outage)*time.Second))
}

func paceWords(pace float64) string {
	switch {
	case math.IsNaN(pace):
		return "it has just begun to warm"
	case pace < 0.5:
		return "it hardly moves"
	}
	return fmt.Sprintf("it climbs %.1f °C an hour", pace)
}

// obstacle says why the target may not be reached, if that is likely.
func (f *Forecast) obstacle(in *Input, s *scenarios) string {
	if f.PNever < 0.5 {
		return ""
	}
	if why := s.outOfReach(in); why != "" {
		return "; " + why
	}
	return "; at this pace it may well not get there within 36 hours: wrap it or raise the pit"
}

// outOfReach says what keeps the target from ever being reached; empty when nothing does.
func (s *scenarios) outOfReach(in *Input) string {
	level := s.a.base(s.a.start)
	for _, e := range s.a.later {
		if e.Kind == SetPoint {
			level = math.Max(level, float64(e.Celsius))
		}
	}
	foiled := s.a.coat == inFoil || s.a.wrapWith == inFoil
	boil := thermal.BoilingPoint(in.AltitudeM)
	switch {
	case foiled && in.Target >= boil-0.3:
		return fmt.Sprintf("in foil it cannot pass %.1f °C, where water boils at this altitude, so %.1f °C is out of reach: lower the target or leave it unwrapped",
			float64(boil), float64(in.Target))
	case float64(in.Target) >= level:
		return fmt.Sprintf("the target of %.0f °C is not below the pit at %.0f °C: raise the pit or lower the target", float64(in.Target), level)
	case float64(in.Target) >= level-1.5:
		return fmt.Sprintf("the target of %.1f °C is hardly below the pit at %.1f °C: raise the pit or lower the target", float64(in.Target), level)
	}
	return ""
}

// evaporated is the median of the share of the raw mass that has evaporated.
func (s *scenarios) evaporated() float64 {
	lost := make([]float64, len(s.members))
	for i, m := range s.members {
		lost[i] = m.evaporated()
	}
	return median(lost)
}

// fan fills in the spread of the core temperature ahead and the median end of the stall.
func (f *Forecast) fan(s *scenarios, target float64) {
	column := make([]float64, len(s.ends))
	for i, seconds := range pathTimes {
		done := true
		for k, o := range s.ends {
			column[k] = target
			if i < len(o.path) {
				column[k], done = float64(o.path[i]), false
			}
		}
		p := PathPoint{Time: after(f.At, seconds)}
		for j, to := range []*thermal.Celsius{&p.P05, &p.P10, &p.P25, &p.P50, &p.P75, &p.P90, &p.P95} {
			*to = thermal.Celsius(quantileOf(column, Levels[j]))
		}
		f.Path = append(f.Path, p)
		if done {
			break
		}
	}
	ends := make([]time.Time, len(s.ends))
	for k, o := range s.ends {
		if o.stallEnd > 0 {
			ends[k] = after(f.At, o.stallEnd)
		}
	}
	f.StallEnd = quantiles(ends)[3]
}

// quantileOf orders xs and reads one level.
func quantileOf(xs []float64, level float64) float64 {
	slices.Sort(xs)
	x := clampTo(level*float64(len(xs))-0.5, 0, float64(len(xs)-1))
	i := int(x)
	if i == len(xs)-1 {
		return xs[i]
	}
	return xs[i] + (x-float64(i))*(xs[i+1]-xs[i])
}
