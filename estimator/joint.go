package estimator

import (
	"slices"
	"time"
)

// AllReady gives the times by which every piece is ready, at Levels; zero where that level is not reached within the
// horizon. The forecasts must be of pieces in one pit made at one time: their draws share the fire draw by draw.
func AllReady(fs []Forecast) (ready [7]time.Time) {
	last := combine(fs, func(d Draw) time.Time { return d.Ready }, func(a, b time.Time) bool { return a.IsZero() || !b.IsZero() && a.After(b) })
	return quantiles(last)
}

// AllReadyBy is the probability that every piece is ready by a time.
func AllReadyBy(fs []Forecast, by time.Time) float64 {
	ends := combine(fs, func(d Draw) time.Time { return d.Ready }, func(a, b time.Time) bool { return a.IsZero() || !b.IsZero() && a.After(b) })
	n := 0
	for _, t := range ends {
		if !t.IsZero() && !t.After(by) {
			n++
		}
	}
	return float64(n) / float64(max(len(ends), 1))
}

// ReadyBy is the probability that this piece is ready by a time.
func (f *Forecast) ReadyBy(by time.Time) float64 { return AllReadyBy([]Forecast{*f}, by) }

// FirstReady gives, for each piece, the probability that it is the first to be ready. Together they fall short of one
// by the probability that none is ready within the horizon.
func FirstReady(fs []Forecast) []float64 {
	out := make([]float64, len(fs))
	n := drawCount(fs)
	for k := range n {
		first := -1
		for i, f := range fs {
			r := f.drawAt(k).Ready
			if !r.IsZero() && (first < 0 || r.Before(fs[first].drawAt(k).Ready)) {
				first = i
			}
		}
		if first >= 0 {
			out[first] += 1 / float64(n)
		}
	}
	return out
}

// QuietUntil is the latest time before which nothing needs a person with probability 0.9: the tenth percentile of the
// first ready time, planned wrap or known need, such as the next fuel. ok is false when there is no such time within
// the horizon.
func QuietUntil(fs []Forecast, needs ...time.Time) (until time.Time, ok bool) {
	earlier := func(a, b time.Time) bool { return !a.IsZero() && (b.IsZero() || a.Before(b)) }
	first := combine(fs, func(d Draw) time.Time {
		if earlier(d.Wrap, d.Ready) {
			return d.Wrap
		}
		return d.Ready
	}, earlier)
	if len(first) == 0 {
		first = make([]time.Time, 1)
	}
	for _, need := range needs {
		for k := range first {
			if earlier(need, first[k]) {
				first[k] = need
			}
		}
	}
	q := quantiles(first)
	return q[1], !q[1].IsZero()
}

// drawAt gives a draw by index; a piece that is ready has one outcome in every scenario.
func (f *Forecast) drawAt(k int) Draw {
	if len(f.Draws) == 0 {
		return Draw{Ready: f.Ready[3]}
	}
	return f.Draws[k%len(f.Draws)]
}

func drawCount(fs []Forecast) int {
	n := 0
	for _, f := range fs {
		n = max(n, len(f.Draws), 1)
	}
	return n
}

// combine takes, draw by draw, the time that wins among the pieces.
func combine(fs []Forecast, of func(Draw) time.Time, wins func(a, b time.Time) bool) []time.Time {
	out := make([]time.Time, drawCount(fs))
	for k := range out {
		for i, f := range fs {
			if t := of(f.drawAt(k)); i == 0 || wins(t, out[k]) {
				out[k] = t
			}
		}
	}
	return out
}

// quantiles orders times, never last, and reads them at Levels.
func quantiles(times []time.Time) (q [7]time.Time) {
	if len(times) == 0 {
		return q
	}
	sorted := slices.Clone(times)
	slices.SortFunc(sorted, func(a, b time.Time) int {
		switch {
		case a.IsZero() && b.IsZero():
			return 0
		case a.IsZero():
			return 1
		case b.IsZero():
			return -1
		}
		return a.Compare(b)
	})
	for i, level := range Levels {
		q[i] = sorted[min(int(level*float64(len(sorted))), len(sorted)-1)]
	}
	return q
}
