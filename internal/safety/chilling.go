package safety

import (
	"fmt"
	"math"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// cooling judges one trace by a cooling rule. ok is false when the trace does not cool from the rule's start.
func cooling(t Trace, rule CoolingRule, s Settings) (v Verdict, ok bool) {
	for _, stage := range s.stricter(rule).Stages {
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

// descent finds the last reading surely at or above a temperature before the piece went below it for good. Warming up again
// sets the clock back only when it is real heating: to 165 °F or hotter than ever before; a bump does not. seen is false
// when no reading surely lies that high, so the clock began before the log; ok is false when the trace holds no cooling.
func descent(r []cook.Reading, fromF float64, s Settings) (start int, seen, ok bool) {
	top, start := math.Inf(-1), -1
	armed := true
	for i := range r {
		f := r[i].Celsius.Fahrenheit()
		if f >= top || f >= reheatedF {
			armed = true
		}
		top = max(top, f)
		if s.asHot(r[i]) >= fromF && armed {
			start = i
		} else if f < fromF {
			armed = false
		}
	}
	if start >= 0 {
		return start, true, start < len(r)-1
	}
	// Nothing surely that hot: a stage of cooling only if the trace begins warm and falls.
	last := len(r) - 1
	return 0, false, last > 0 && r[0].Celsius.Fahrenheit() >= warmF && r[last].Celsius < r[0].Celsius-5 && top <= r[0].Celsius.Fahrenheit()+2
}

// reheated is the last reading up to a position that surely sets the clock back, whatever came before it; 0 when there is none.
func (s Settings) reheated(r []cook.Reading, upTo int) int {
	for i := upTo; i > 0; i-- {
		if s.asHot(r[i]) >= reheatedF {
			return i
		}
	}
	return 0
}

const (
	reheatedF = 165.0 // FDA Food Code 2022 3-403.11, reheating for hot holding
	warmF     = 79.0  // a trace that begins colder is no cooked piece (choice of this project)
)

// pulled finds a fall no piece of meat makes: 20 °C or more at 5 °C a minute or faster, to below 130 °F (choices of this
// project, from the conduction time of a piece 40 mm thick). After it the probe is taken to be in the air. A fall of
// 20 °C between two neighbouring readings counts however far apart they are: nobody knows how fast it was.
func pulled(r []cook.Reading, from int) (fall thermal.CelsiusDelta, at time.Time, found bool) {
	for i := from + 1; i < len(r); i++ {
		if r[i].Celsius.Fahrenheit() >= comeUpTo {
			continue
		}
		for k := i - 1; k >= from; k-- {
			dt, drop := r[i].Time.Sub(r[k].Time), float64(r[k].Celsius-r[i].Celsius)
			if drop >= 20 && (k == i-1 || drop >= 5*dt.Minutes()) {
				return thermal.CelsiusDelta(drop), r[i].Time, true
			}
			if dt > pulledWithin {
				break
			}
		}
	}
	return 0, time.Time{}, false
}

// outOfMeat turns a verdict on cooling or cold into unknown when the probe seems to have been pulled out.
func outOfMeat(v Verdict, t Trace, from int) Verdict {
	if fall, at, found := pulled(t.Readings, from); found {
		v.Outcome, v.At = Unknown, at
		v.Because = fmt.Sprintf("probe %s fell by %.0f °C faster than meat can, or with no reading between to tell: it may have been pulled out and read the air", t.Probe, float64(fall))
	}
	return v
}

func (g Stage) needed() string {
	return fmt.Sprintf("%g to %g °F (%.1f to %.1f °C) within %s", g.FromF, g.ToF, float64(thermal.FromFahrenheit(g.FromF)), float64(thermal.FromFahrenheit(g.ToF)), when.Exact(g.Within))
}

// coolingStage counts from the last reading surely at or above the stage's start to the first surely at or below its end.
func coolingStage(t Trace, stage Stage, s Settings) (v Verdict, ok bool) {
	r := t.Readings
	start, seen, ok := descent(r, stage.FromF, s)
	if !ok {
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
	v = Verdict{At: r[end].Time, Measured: when.Exact(took),
		Needed: stage.needed()}
	gap := s.gapWithin(r, s.reheated(r, start), end) // an earlier gap may hide that it had been hot and cold before: then the clock is not known
	switch {
	case took > stage.Within && (surely > stage.Within || !gap):
		v.Outcome = Missed
		v.Because = fmt.Sprintf("probe %s needed more than %s", t.Probe, when.Exact(stage.Within)) + s.advise(r[start:end+1])
	case !reached:
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("probe %s has not come down to %s in the log", t.Probe, fahrenheit(stage.ToF))
	case !seen:
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("the readings of probe %s begin below %s, or not surely above it: when the clock began is not known", t.Probe, fahrenheit(stage.FromF))
	case gap:
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("more than %s without readings lie in or before the cooling of probe %s", when.Exact(s.maxGap()), t.Probe)
	default:
		v.Outcome = Met
		v.Because = fmt.Sprintf("probe %s needed %s", t.Probe, when.Exact(took))
	}
	return outOfMeat(v, Trace{Probe: t.Probe, Readings: r[:end+1]}, start), true
}

// hotHolding judges the readings between the piece coming off and its last fall to the limit: all surely at or above it. The
// last steady fall belongs to cooling, whose clock counts it.
func hotHolding(t Trace, off time.Time, limitF float64, source string, s Settings) (Verdict, bool) {
	r := t.Readings
	first, last := -1, -1
	for i := range r {
		if off.IsZero() || r[i].Time.Before(off) {
			continue
		}
		if first < 0 {
			first = i
		}
		if r[i].Celsius.Fahrenheit()+hair >= limitF {
			last = i
		}
	}
	if first < 0 || last <= first {
		return Verdict{}, false
	}
	judged := last
	if last < len(r)-1 {
		for judged > first && r[judged-1].Celsius >= r[judged].Celsius {
			judged--
		}
	}
	v := Verdict{Rule: HotHolding, Source: source, Needed: "held at or above " + fahrenheit(limitF), At: r[last].Time}
	v = held(v, t, first, judged, s, func(x cook.Reading) bool { return s.asHot(x) >= limitF })
	if v.Outcome == Met {
		v.Measured = when.Span(r[last].Time.Sub(r[first].Time)) + " within the limit"
		if s.gapWithin(r, max(first-1, 0), last) {
			v.Outcome, v.Because = Unknown, fmt.Sprintf("more than %s without readings lie in the holding of probe %s", when.Exact(s.maxGap()), t.Probe)
		}
	}
	return v, true
}

// coldHolding judges everything after the trace first came down to the limit, following cooking. A gap anywhere since the
// piece was hot may hide that it had been cold and warm again, so it is unknown.
func coldHolding(t Trace, limitF float64, source string, s Settings) (Verdict, bool) {
	r := t.Readings
	hot, first := -1, -1
	for i := range r {
		if r[i].Celsius.Fahrenheit()+hair >= comeUpTo {
			hot = i
		}
		if hot >= 0 && r[i].Celsius.Fahrenheit()-hair <= limitF {
			first = i
			break
		}
	}
	if first < 0 || first == len(r)-1 {
		return Verdict{}, false
	}
	last := len(r) - 1
	// The last degree of the way down is still cooling as long as it falls to where it is surely cold.
	judged := first
	for judged < last && s.asCold(r[judged]) > limitF && r[judged+1].Celsius < r[judged].Celsius {
		judged++
	}
	v := Verdict{Rule: ColdHolding, Source: source, Needed: "kept at or below " + fahrenheit(limitF), At: r[last].Time}
	v = held(v, t, judged, last, s, func(x cook.Reading) bool { return s.asCold(x) <= limitF })
	if v.Outcome == Met && s.gapWithin(r, hot, last) {
		v.Outcome, v.Because = Unknown, fmt.Sprintf("more than %s without readings lie in the chilling of probe %s", when.Exact(s.maxGap()), t.Probe)
	}
	return outOfMeat(v, t, hot), true
}

// held fills in a verdict on a stretch of readings that must all satisfy a limit.
func held(v Verdict, t Trace, first, last int, s Settings, fine func(cook.Reading) bool) Verdict {
	v.Outcome = Met
	v.Measured = fmt.Sprintf("%s within the limit", when.Span(t.Readings[last].Time.Sub(t.Readings[first].Time)))
	v.Because = fmt.Sprintf("every reading of probe %s was within the limit", t.Probe)
	if s.gapWithin(t.Readings, first, last) {
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("more than %s without readings lie in the holding of probe %s", when.Exact(s.maxGap()), t.Probe)
	}
	for _, r := range t.Readings[first : last+1] {
		if !fine(r) {
			v.Outcome, v.At = Missed, r.Time
			v.Measured = celsius(r.Celsius)
			v.Because = fmt.Sprintf("probe %s left the limit", t.Probe)
			break
		}
	}
	return v
}

// dangerZone sums the time between two temperatures, cooking and cooling together. An interval counts whole unless both
// its ends lie on the same side outside.
func dangerZone(t Trace, low, high thermal.Celsius, s Settings) Verdict {
	limit := s.dangerLimit()
	v := Verdict{Rule: DangerZone, Outcome: Met, Source: dangerSource,
		Needed: fmt.Sprintf("at most %s between %s", when.Exact(limit), zoneWords(low, high))}
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
	v.Measured = when.Exact(total)
	v.Because = fmt.Sprintf("probe %s spent %s between %s; a pit below 120 °C (248 °F) crosses it slowly, which for an intact piece is of low priority", t.Probe, when.Exact(total), zoneWords(low, high))
	if v.Outcome == Met && gap {
		v.Outcome = Unknown
		v.Because += fmt.Sprintf("; more than %s without readings are not counted", when.Exact(s.maxGap()))
	}
	if n := len(t.Readings); n > 0 && v.At.IsZero() {
		v.At = t.Readings[n-1].Time
	}
	return v
}

// zoneWords names the danger zone in both scales: "5 and 57 °C (41 and 135 °F)".
func zoneWords(low, high thermal.Celsius) string {
	return celsiusRange(fmt.Sprintf("%g", float64(low)), "and", fmt.Sprintf("%g", float64(high)), low, high, 0)
}
