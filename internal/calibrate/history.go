package calibrate

import (
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
)

// Check is one check as it was recorded.
type Check struct {
	Number    int64 // of its record
	Time      time.Time
	By        string
	Points    []Point
	Tolerance thermal.CelsiusDelta
	Passed    bool
	AsLeft    bool // made after the probe was adjusted; else it is as it was found
	Action    string
	Note      string
}

// Span is a stretch of time; a zero From has no beginning, a zero To no end.
type Span struct{ From, To time.Time }

// Contains reports whether a time lies in the span; To is exclusive.
func (s Span) Contains(t time.Time) bool {
	return !t.Before(s.From) && (s.To.IsZero() || t.Before(s.To))
}

// Trend is the line through the errors at one reference over the checks.
type Trend struct {
	Kind     Kind
	PerMonth float64 // K in a month of 30.44 days
	N        int     // checks, two at least
}

// Standing is what a probe's checks say about it.
type Standing struct {
	Last     *Check // nil: it was never checked
	Due      bool   // the last is older than asked for
	Doubtful []Span // readings between the last good check before a failed one and the next good one
	Trends   []Trend
}

// InDoubt reports whether a reading of that time lies in a doubtful stretch.
func (s Standing) InDoubt(t time.Time) bool {
	return slices.ContainsFunc(s.Doubtful, func(d Span) bool { return d.Contains(t) })
}

// Failed reports whether the last check was not passed.
func (s Standing) Failed() bool { return s.Last != nil && !s.Last.Passed }

// Stand tells how a probe stands, from its checks in any order. every is how often it is to be checked; 0 asks for none.
func Stand(history []Check, now time.Time, every time.Duration) Standing {
	sorted := slices.Clone(history)
	slices.SortStableFunc(sorted, func(a, b Check) int { return a.Time.Compare(b.Time) })
	var s Standing
	var good time.Time
	failing := false
	for _, c := range sorted {
		switch {
		case !c.Passed && !failing:
			s.Doubtful, failing = append(s.Doubtful, Span{From: good}), true
		case c.Passed && failing:
			s.Doubtful[len(s.Doubtful)-1].To, failing = c.Time, false
		}
		if c.Passed {
			good = c.Time
		}
	}
	if n := len(sorted); n > 0 {
		s.Last = &sorted[n-1]
		s.Due = every > 0 && Due(s.Last.Time, now, every)
	}
	for _, k := range []Kind{Ice, Boil} {
		if t, ok := trend(sorted, k); ok {
			s.Trends = append(s.Trends, t)
		}
	}
	return s
}

// month is a twelfth of a year of 365.25 days.
const month = 365.25 / 12 * 24 * float64(time.Hour)

// driftFor is how many months checks must span: within a week the ice differs more than the probe drifts.
const driftFor = 0.25

// trend is the least-squares line of the error as found; a check after an adjustment begins the count anew.
func trend(sorted []Check, k Kind) (Trend, bool) {
	var months, errs []float64
	for _, c := range sorted {
		for _, p := range c.Points {
			if p.Kind != k {
				continue
			}
			if c.AsLeft {
				months, errs = nil, nil
			}
			months = append(months, float64(c.Time.Sub(sorted[0].Time))/month)
			errs = append(errs, float64(p.Error()))
		}
	}
	n := float64(len(errs))
	var mx, my, xy, xx float64
	for i := range errs {
		mx, my = mx+months[i]/n, my+errs[i]/n
	}
	for i := range errs {
		xy += (months[i] - mx) * (errs[i] - my)
		xx += (months[i] - mx) * (months[i] - mx)
	}
	if len(errs) < 2 || months[len(months)-1]-months[0] < driftFor {
		return Trend{}, false
	}
	return Trend{k, xy / xx, len(errs)}, true
}

// Then combines two corrections: first c, then next.
func (c Correction) Then(next Correction) Correction {
	return Correction{Slope: next.Slope * c.Slope, K: next.Slope*c.K + next.K}
}
