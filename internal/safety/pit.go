package safety

import (
	"fmt"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/when"
)

// Limits of the pit: choices of this project (common practice, no source).
const (
	fatWarn   thermal.Celsius = 200 // drip fat begins to smoke
	fatAlarm  thermal.Celsius = 280 // drip fat may catch fire
	pitCold   thermal.Celsius = 93  // a pit that smokes but hardly heats
	coldLimit                 = time.Hour
)

// adviceF is the lower end of the smoker's range in the USDA FSIS smoking fact sheet, °F: advice, not a limit.
const adviceF = 225

// pit judges the fire chamber while a piece comes up to 54.4 °C: never hot enough for a fat fire, and not too cold for
// more than an hour on end once it has been hot.
func pit(p Trace, core []Trace, s Settings) (Verdict, bool) {
	if len(p.Readings) == 0 {
		return Verdict{}, false
	}
	v := Verdict{Rule: PitLimits, Outcome: Met, Source: "choice of this project; USDA FSIS smoking fact sheet advises 225 to 300 °F",
		Needed: fmt.Sprintf("never above %g °C (%.0f °F); not below %g °C (%.0f °F) for more than 1 h on end while the inside is below 54.4 °C (130 °F)", float64(fatAlarm), fatAlarm.Fahrenheit(), float64(pitCold), pitCold.Fahrenheit()),
		At:     p.Readings[len(p.Readings)-1].Time}
	until := comeUpEnd(core, s)
	top, cold, advised := p.Readings[0], time.Duration(0), time.Duration(0)
	var longest time.Duration
	hot := false
	for i, r := range p.Readings {
		if r.Celsius > top.Celsius {
			top = r
		}
		hot = hot || r.Celsius >= pitCold
		if i == 0 || s.gap(p.Readings, i) {
			cold = 0
			continue
		}
		step := r.Time.Sub(p.Readings[i-1].Time)
		if r.Celsius.Fahrenheit() < adviceF {
			advised += step
		}
		if hot && r.Celsius < pitCold && r.Time.Before(until) {
			cold += step
		} else {
			cold = 0
		}
		longest = max(longest, cold)
	}
	v.Measured = fmt.Sprintf("hottest %s, longest cold stretch %s", celsius(top.Celsius), when.Exact(longest))
	v.Because = fmt.Sprintf("probe %s was below the advised 225 °F (107 °C) for %s", p.Probe, when.Exact(advised))
	switch {
	case top.Celsius > fatAlarm:
		v.Outcome, v.At = Missed, top.Time
		v.Because = fmt.Sprintf("probe %s read %s: fat can catch fire there; cut the air, never put water on it", p.Probe, celsius(top.Celsius))
	case longest > coldLimit:
		v.Outcome = Missed
		v.Because = fmt.Sprintf("probe %s stayed below %s for %s while the meat was still coming up", p.Probe, celsius(pitCold), when.Exact(longest))
	case s.gapWithin(p.Readings, 0, len(p.Readings)-1):
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("probe %s has an interval of more than %s without readings", p.Probe, when.Exact(s.maxGap()))
	case top.Celsius > fatWarn:
		v.Because += fmt.Sprintf("; it reached %s, where drip fat smokes: empty the drip pan", celsius(top.Celsius))
	}
	return v, true
}

// comeUpEnd is when the coldest probe of the piece reached 130 °F; far in the future if it never did.
func comeUpEnd(core []Trace, s Settings) time.Time {
	var end time.Time
	for _, t := range core {
		at := time.Unix(1<<40, 0)
		for _, r := range t.Readings {
			if s.asHot(r) >= comeUpTo {
				at = r.Time
				break
			}
		}
		if at.After(end) {
			end = at
		}
	}
	return end
}

// gaps says how long the longest interval without readings was, also before a probe began or after it fell silent while
// another in the same piece was measuring.
func gaps(t Trace, first, last time.Time, s Settings) Verdict {
	v := Verdict{Rule: Gaps, Outcome: Met, Source: "USDA FSIS Cooking Guideline, FSIS-GD-2021-14: observations at least every 30 min for modelling; set by the shop",
		Needed: fmt.Sprintf("readings at least every %s", when.Exact(s.maxGap()))}
	var longest time.Duration
	for i := 1; i < len(t.Readings); i++ {
		if d := t.Readings[i].Time.Sub(t.Readings[i-1].Time); d > longest {
			longest, v.At = d, t.Readings[i].Time
		}
	}
	if n := len(t.Readings); n > 0 {
		if d := t.Readings[0].Time.Sub(first); d > longest {
			longest, v.At = d, t.Readings[0].Time
		}
		if d := last.Sub(t.Readings[n-1].Time); d > longest {
			longest, v.At = d, last
		}
	}
	v.Measured = "longest interval " + when.Exact(longest)
	v.Because = fmt.Sprintf("probe %s has %d usable readings", t.Probe, len(t.Readings))
	switch {
	case len(t.Readings) == 0:
		v.Outcome, v.Measured = Unknown, "no usable reading"
	case longest > s.maxGap():
		v.Outcome = Missed
	}
	return v
}
