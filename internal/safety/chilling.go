package safety

import (
	"fmt"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// cooling judges one trace by a cooling rule. ok is false when the trace does not cool from the rule's start.
func cooling(t Trace, rule CoolingRule, s Settings) (v Verdict, ok bool) {
	for _, stage := range rule.Stages {
		next, there := coolingStage(t, stage, s)
		if !there {
			break
		}
		if !ok || next.Outcome < v.Outcome {
			v = next
		}
		ok = true
	}
	v.Rule, v.Source = Cooling, rule.Source
	if rule.Condition != "" {
		v.Because += "; " + rule.Condition
	}
	return v, ok
}

// coolingStage counts from the last reading at or above the stage's start to the first at or below its end.
func coolingStage(t Trace, stage Stage, s Settings) (v Verdict, ok bool) {
	r := t.Readings
	start := -1
	for i := range r {
		if s.asCold(r[i]) >= stage.FromF-2*hair {
			start = i
		}
	}
	if start < 0 || start == len(r)-1 {
		return v, false
	}
	end, reached := len(r)-1, false
	for i := start + 1; i < len(r); i++ {
		if s.asCold(r[i]) <= stage.ToF {
			end, reached = i, true
			break
		}
	}
	took := r[end].Time.Sub(r[start].Time)
	surely := took
	if reached {
		surely = r[max(end-1, start+1)].Time.Sub(r[start+1].Time)
	} else {
		surely = r[end].Time.Sub(r[start+1].Time)
	}
	v = Verdict{At: r[end].Time, Measured: span(took),
		Needed: fmt.Sprintf("%g to %g °F (%.1f to %.1f °C) within %s", stage.FromF, stage.ToF, float64(thermal.FromFahrenheit(stage.FromF)), float64(thermal.FromFahrenheit(stage.ToF)), span(stage.Within))}
	gap := s.gapWithin(r, start, end)
	switch {
	case took > stage.Within && (surely > stage.Within || !gap):
		v.Outcome = Missed
		v.Because = fmt.Sprintf("probe %s needed more than %s", t.Probe, span(stage.Within))
	case !reached:
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("probe %s has not come down to %g °F in the log", t.Probe, stage.ToF)
	case gap:
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("more than %s without readings lie in the cooling of probe %s", span(s.maxGap()), t.Probe)
	default:
		v.Outcome = Met
		v.Because = fmt.Sprintf("probe %s needed %s", t.Probe, span(took))
	}
	return v, true
}

// hotHolding judges the readings between the piece coming off and the start of cooling: all at or above the limit.
func hotHolding(t Trace, off time.Time, limitF float64, source string, s Settings) (Verdict, bool) {
	first, last := -1, -1
	for i, r := range t.Readings {
		if off.IsZero() || r.Time.Before(off) {
			continue
		}
		if first < 0 {
			first = i
		}
		if s.asHot(r) >= limitF {
			last = i
		}
	}
	if first < 0 || last <= first {
		return Verdict{}, false
	}
	v := Verdict{Rule: HotHolding, Source: source, Needed: fmt.Sprintf("held at or above %g °F (%.1f °C)", limitF, float64(thermal.FromFahrenheit(limitF))), At: t.Readings[last].Time}
	return held(v, t, first, last, s, func(r cook.Reading) bool { return s.asHot(r) >= limitF }), true
}

// coldHolding judges everything after the trace first came down to the limit, following cooking.
func coldHolding(t Trace, limitF float64, source string, s Settings) (Verdict, bool) {
	hot, first := false, -1
	for i, r := range t.Readings {
		hot = hot || s.asHot(r) >= comeUpTo
		if hot && s.asCold(r) <= limitF {
			first = i
			break
		}
	}
	if first < 0 || first == len(t.Readings)-1 {
		return Verdict{}, false
	}
	last := len(t.Readings) - 1
	v := Verdict{Rule: ColdHolding, Source: source, Needed: fmt.Sprintf("kept at or below %g °F (%.1f °C)", limitF, float64(thermal.FromFahrenheit(limitF))), At: t.Readings[last].Time}
	return held(v, t, first, last, s, func(r cook.Reading) bool { return s.asCold(r) <= limitF }), true
}

// held fills in a verdict on a stretch of readings that must all satisfy a limit.
func held(v Verdict, t Trace, first, last int, s Settings, fine func(cook.Reading) bool) Verdict {
	v.Outcome = Met
	v.Measured = fmt.Sprintf("%s within the limit", span(t.Readings[last].Time.Sub(t.Readings[first].Time)))
	v.Because = fmt.Sprintf("every reading of probe %s was within the limit", t.Probe)
	if s.gapWithin(t.Readings, first, last) {
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("more than %s without readings lie in the holding of probe %s", span(s.maxGap()), t.Probe)
	}
	for _, r := range t.Readings[first : last+1] {
		if !fine(r) {
			v.Outcome, v.At = Missed, r.Time
			v.Measured = fmt.Sprintf("%.1f °C (%.1f °F)", float64(r.Celsius), r.Celsius.Fahrenheit())
			v.Because = fmt.Sprintf("probe %s left the limit", t.Probe)
			break
		}
	}
	return v
}

// dangerZone sums the time between two temperatures, cooking and cooling together. An interval counts whole unless both
// its ends lie on the same side outside.
func dangerZone(t Trace, low, high thermal.Celsius, s Settings) Verdict {
	const limit = 4 * time.Hour
	v := Verdict{Rule: DangerZone, Outcome: Met, Source: "common practice, no authority known",
		Needed: fmt.Sprintf("at most 4 h between %g and %g °C", float64(low), float64(high))}
	var total time.Duration
	gap := len(t.Readings) < 2
	slack := thermal.Celsius(s.InstrumentError)
	for i := 1; i < len(t.Readings); i++ {
		a, b := t.Readings[i-1].Celsius, t.Readings[i].Celsius
		if s.gap(t.Readings, i) {
			gap = true
			continue
		}
		if max(a, b)+slack <= low || min(a, b)-slack >= high {
			continue
		}
		total += t.Readings[i].Time.Sub(t.Readings[i-1].Time)
		if total > limit && v.Outcome == Met {
			v.Outcome, v.At = Missed, t.Readings[i].Time
		}
	}
	v.Measured = span(total)
	v.Because = fmt.Sprintf("probe %s spent %s there; a pit below 120 °C crosses it slowly, which for an intact piece is of low priority", t.Probe, span(total))
	if v.Outcome == Met && gap {
		v.Outcome = Unknown
		v.Because += fmt.Sprintf("; more than %s without readings are not counted", span(s.maxGap()))
	}
	if n := len(t.Readings); n > 0 && v.At.IsZero() {
		v.At = t.Readings[n-1].Time
	}
	return v
}
