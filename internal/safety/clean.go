package safety

import (
	"math"
	"slices"
	"time"

	"stallkeeper/internal/cook"
)

// clean puts a trace in time order and leaves out what cannot be judged: numbers that are none, and all readings of one
// moment that contradict each other. The same value twice at one moment counts once. Every exclusion is counted.
func clean(t Trace) Trace {
	in := make([]cook.Reading, 0, len(t.Readings))
	for _, r := range t.Readings {
		if f := float64(r.Celsius); math.IsNaN(f) || math.IsInf(f, 0) || f < -273.15 || f > 2000 {
			t.Excluded++
			continue
		}
		in = append(in, r)
	}
	slices.SortStableFunc(in, func(a, b cook.Reading) int { return a.Time.Compare(b.Time) })
	out := make([]cook.Reading, 0, len(in))
	for i := 0; i < len(in); {
		k, same := i+1, true
		for k < len(in) && in[k].Time.Equal(in[i].Time) {
			same = same && in[k].Celsius == in[i].Celsius
			k++
		}
		if same {
			out = append(out, in[i])
		} else {
			t.Excluded += k - i
		}
		i = k
	}
	t.Readings = out
	return inserted(t)
}

// inserted leaves out what a probe read before it was put into the meat: a trace that begins hot, falls faster than meat can
// to below 100 °F and then warms by 15 °C or more began in the air of the pit.
func inserted(t Trace) Trace {
	r := t.Readings
	if len(r) < 3 || r[0].Celsius.Fahrenheit() < comeUpTo {
		return t
	}
	_, at, found := pulled(r, 0)
	if !found {
		return t
	}
	low := slices.IndexFunc(r, func(x cook.Reading) bool { return !x.Time.Before(at) })
	for low < len(r)-1 && r[low+1].Celsius < r[low].Celsius {
		low++
	}
	warms := slices.ContainsFunc(r[low:], func(x cook.Reading) bool { return x.Celsius > r[low].Celsius+15 })
	if r[low].Celsius.Fahrenheit() >= 100 || !warms {
		return t
	}
	t.Excluded += low
	t.Readings = r[low:]
	return t
}

// ends gives the first and last moment measured by any of the traces.
func ends(traces []Trace) (first, last time.Time) {
	for _, t := range traces {
		if len(t.Readings) == 0 {
			continue
		}
		a, b := t.Readings[0].Time, t.Readings[len(t.Readings)-1].Time
		if first.IsZero() || a.Before(first) {
			first = a
		}
		if b.After(last) {
			last = b
		}
	}
	return first, last
}

// fellSilent makes a missed dwell of a probe unknown when the probe stopped long before its neighbours in the same piece.
func fellSilent(v Verdict, t Trace, last time.Time, s Settings) Verdict {
	if n := len(t.Readings); v.Outcome == Missed && n > 0 && last.Sub(t.Readings[n-1].Time) > s.maxGap() {
		v.Outcome = Unknown
		v.Because += "; the probe fell silent before the others in this piece"
	}
	return v
}
