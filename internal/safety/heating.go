package safety

import (
	"fmt"
	"math"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/when"
)

// hair absorbs the rounding of a conversion between scales, °F; it is far below any instrument's resolution.
const hair = 1e-6

// asHot is what a reading surely reaches, °F: the instrument's error is taken off.
func (s Settings) asHot(r cook.Reading) float64 {
	return (r.Celsius - thermal.Celsius(s.InstrumentError)).Fahrenheit() + hair
}

// asCold is what a reading surely stays below, °F: the instrument's error is added.
func (s Settings) asCold(r cook.Reading) float64 {
	return (r.Celsius + thermal.Celsius(s.InstrumentError)).Fahrenheit() - hair
}

// gap reports whether the interval that ends at i is too long to know what happened in it.
func (s Settings) gap(r []cook.Reading, i int) bool { return r[i].Time.Sub(r[i-1].Time) > s.maxGap() }

// gapWithin reports an unknown interval between two positions.
func (s Settings) gapWithin(r []cook.Reading, from, to int) bool {
	for i := from + 1; i <= to; i++ {
		if s.gap(r, i) {
			return true
		}
	}
	return false
}

// dwell judges one trace by a table: met as soon as the total time at or above some row's temperature reaches that
// row's dwell (FSIS-GD-2021-14, attachment A2: total time at or above the row's temperature).
func dwell(t Trace, table Table, s Settings) Verdict {
	v := Verdict{Rule: Dwell, Source: table.Source, Needed: needs(table, s)}
	best, share := Row{}, -1.0
	var bestTime time.Duration
	for _, row := range table.Rows {
		total, at, met := timeAtOrAbove(t.Readings, row, s)
		if met && (v.Outcome != Met || at.Before(v.At)) {
			v.Outcome, v.At = Met, at
			v.Measured = fmt.Sprintf("%s at or above %s", when.Exact(total), fahrenheit(row.Fahrenheit))
			v.Because = fmt.Sprintf("the row %s needs %s, reached by probe %s", fahrenheit(row.Fahrenheit), when.Exact(row.Dwell), t.Probe)
			if row.Fahrenheit < 140 {
				v.Because += "; rows below 140 °F (60 °C) were not confirmed in later work (McMinn 2018): go hotter where you can"
			}
		}
		if p := total.Seconds() / max(row.Dwell.Seconds(), 1); p > share {
			best, share, bestTime = row, p, total
		}
	}
	if v.Outcome == Met {
		return v
	}
	v.Measured = fmt.Sprintf("%s at or above %s", when.Exact(bestTime), fahrenheit(best.Fahrenheit))
	v.Because = fmt.Sprintf("no row of the table was reached by probe %s: %s", t.Probe, hottest(t))
	if len(t.Readings) == 0 || s.gapWithin(t.Readings, 0, len(t.Readings)-1) {
		v.Outcome = Unknown
		v.Because += fmt.Sprintf("; there is an interval of more than %s without readings, and nobody knows what happened in it", when.Exact(s.maxGap()))
	}
	return v
}

// timeAtOrAbove sums the known intervals whose ends are both at or above the row, up to the moment the row is reached.
func timeAtOrAbove(r []cook.Reading, row Row, s Settings) (total time.Duration, at time.Time, met bool) {
	for i := range r {
		if s.asHot(r[i]) < row.Fahrenheit {
			continue
		}
		if row.Dwell == 0 {
			return 0, r[i].Time, true
		}
		if i == 0 || s.asHot(r[i-1]) < row.Fahrenheit || s.gap(r, i) {
			continue
		}
		step := r[i].Time.Sub(r[i-1].Time)
		if total+step >= row.Dwell {
			return row.Dwell, r[i-1].Time.Add(row.Dwell - total), true
		}
		total += step
	}
	return total, time.Time{}, false
}

func needs(table Table, s Settings) string {
	first := table.Rows[len(table.Rows)-1]
	for _, row := range table.Rows {
		if row.Fahrenheit >= 145 {
			first = row
			break
		}
	}
	text := fmt.Sprintf("%s: for instance %s at %s", table.Name, when.Exact(first.Dwell), fahrenheit(first.Fahrenheit))
	if s.InstrumentError > 0 {
		return text + fmt.Sprintf(", plus %.2g °F (%.2g K) for the instrument", 1.8*float64(s.InstrumentError), float64(s.InstrumentError))
	}
	return text + ", instrument error taken as 0"
}

func hottest(t Trace) string {
	if len(t.Readings) == 0 {
		return "it has no usable reading"
	}
	top := t.Readings[0]
	for _, r := range t.Readings {
		if r.Celsius > top.Celsius {
			top = r
		}
	}
	return "its hottest reading was " + celsius(top.Celsius)
}

// The window of the come-up rule: FSIS-GD-2021-14, product between 50 and 130 °F while heating, 6 h in all.
const (
	comeUpFrom, comeUpTo = 50.0, 130.0
	comeUpPublished      = 6 * time.Hour
	comeUpSource         = "USDA FSIS Cooking Guideline (Revised Appendix A), FSIS-GD-2021-14: heating come-up time"
)

func comeUpNeeded(limit time.Duration) string {
	return fmt.Sprintf("50 to 130 °F (10 to 54.4 °C) within %s in all", when.Exact(limit))
}

// comeUp judges the whole time the inside lay between 50 and 130 °F before the table was met: the clock does not reset when
// the piece dips back, only a lethal time and temperature stops it. An interval counts whole unless both its ends lie
// surely outside the window. ok is false when nothing was heated.
func comeUp(t Trace, table Table, intact bool, s Settings) (v Verdict, ok bool) {
	r := t.Readings
	v = Verdict{Rule: ComeUp, Source: comeUpSource, Needed: comeUpNeeded(s.comeUpLimit())}
	if !heats(r) {
		return v, false
	}
	lethal := dwell(t, table, s)
	var took, surely time.Duration
	gap, end, heated := false, 0, s.asHot(r[0]) >= comeUpTo
	for i := 1; i < len(r); i++ {
		if lethal.Outcome == Met && r[i-1].Time.After(lethal.At) {
			break
		}
		end = i
		heated = heated || s.asHot(r[i]) >= comeUpTo
		below := s.asCold(r[i-1]) <= comeUpFrom && s.asCold(r[i]) <= comeUpFrom
		above := s.asHot(r[i-1]) >= comeUpTo && s.asHot(r[i]) >= comeUpTo
		step := r[i].Time.Sub(r[i-1].Time)
		gap = gap || s.gap(r, i)
		if below || above {
			continue
		}
		took += step
		if !s.gap(r, i) {
			surely += step
		}
	}
	v.At, v.Measured = r[end].Time, when.Exact(took)
	running := lethal.Outcome != Met && s.asHot(r[end]) < comeUpTo
	switch {
	case surely > s.comeUpLimit():
		v.Outcome = Missed
		v.Because = fmt.Sprintf("probe %s needed %s", t.Probe, when.Exact(took))
		if intact {
			v.Outcome = Unknown
			v.Because += "; the piece is intact, so the surface may be judged instead, with support, and no surface was measured"
		}
		v.Because += "; the guideline knows that large barbecue pieces often cannot meet this (scientific gap 6)"
	case gap:
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("more than %s without readings lie in the come-up of probe %s", when.Exact(s.maxGap()), t.Probe)
	case !heated:
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("probe %s has not reached 130 °F (54.4 °C) in the log", t.Probe)
	case running:
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("probe %s fell below 130 °F (54.4 °C) before a row of the table was reached, so the clock still runs", t.Probe)
	case s.asCold(r[0]) > comeUpFrom:
		v.Outcome = Unknown
		v.Because = fmt.Sprintf("the readings of probe %s begin at %s, above 50 °F (10 °C): how long it had been warm before is not known", t.Probe, celsius(r[0].Celsius))
	default:
		v.Outcome = Met
		v.Because = fmt.Sprintf("probe %s needed %s", t.Probe, when.Exact(took))
	}
	return v, true
}

// heats reports whether some reading lies above 50 °F and is no colder than one before it: a trace that only cools has no come-up.
func heats(r []cook.Reading) bool {
	for i := 1; i < len(r); i++ {
		if r[i].Celsius > r[i-1].Celsius && r[i].Celsius.Fahrenheit() > comeUpFrom {
			return true
		}
	}
	return false
}

// Lethal integrates 10^((T−Tref)/z) by trapezoids over the known intervals; minutes at Tref. Intervals longer than the
// allowed gap count nothing. Worked example: 17 half-minute readings from 40 to 148 and down to 133 °F, Tref 150, z 10, give
// 0.8741 min, that is 5.08 log at D 0.172 (a meat-trade worksheet, from memory; recomputed).
func Lethal(r []cook.Reading, o Organism, s Settings) float64 {
	return lethal(r, o, s, func(a, b float64) float64 { return (a + b) / 2 })
}

// surelyLethal counts each interval at the lesser of its ends. Between readings far apart the trapezoid flatters: the rate grows
// tenfold with z, so a straight line between its ends lies far above it.
func surelyLethal(r []cook.Reading, o Organism, s Settings) float64 {
	return lethal(r, o, s, func(a, b float64) float64 { return min(a, b) })
}

func lethal(r []cook.Reading, o Organism, s Settings, of func(a, b float64) float64) float64 {
	var f float64
	rate := func(x cook.Reading) float64 { return math.Pow(10, (s.asHot(x)-hair-o.TrefF)/o.ZF) }
	for i := 1; i < len(r); i++ {
		if !s.gap(r, i) {
			f += r[i].Time.Sub(r[i-1].Time).Minutes() * of(rate(r[i-1]), rate(r[i]))
		}
	}
	return f
}

// lethality states the integral beside the table: an advisory, since it holds for a moist surface only.
func lethality(t Trace, logs float64, s Settings) Verdict {
	o := s.organism()
	got := Lethal(t.Readings, o, s) / o.D
	v := Verdict{Rule: Lethality, Source: "general method, trapezoid; " + o.Source, Needed: fmt.Sprintf("%g log of %s", logs, o.Name),
		Measured: fmt.Sprintf("%.1f log", min(got, 99)), Outcome: Met}
	if got > 99 {
		v.Measured = "more than 99 log"
	}
	v.Because = fmt.Sprintf("an advisory: it never replaces the table's verdict, and not reached it still asks for a look; D %.3g min at %g °F, z %g °F, probe %s; it holds for a moist surface only", o.D, o.TrefF, o.ZF, t.Probe)
	switch sure := surelyLethal(t.Readings, o, s) / o.D; {
	case got >= logs && sure < logs:
		v.Outcome = Unknown
		v.Because += fmt.Sprintf("; the readings are too far apart to be sure: by the lesser end of each interval it is %.1f log", sure)
	case got < logs:
		v.Outcome = Missed
		if len(t.Readings) == 0 || s.gapWithin(t.Readings, 0, len(t.Readings)-1) {
			v.Outcome = Unknown
		}
	}
	if n := len(t.Readings); n > 0 {
		v.At = t.Readings[n-1].Time
	}
	return v
}
