package estimator

import (
	"cmp"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
)

// slotSeconds is the resolution at which samples are kept: of several within a slot the earliest counts.
const slotSeconds = 5

// point is a kept sample: time in Unix milliseconds and temperature.
type point struct {
	ms int64
	c  float64
}

// trace is the kept samples of one probe, ascending, at most one per slot, whatever order they came in.
type trace struct{ points []point }

// The limits of what a probe in a piece or a pit can read at all, °C. What lies outside is a fault code.
const (
	coldestReading = -45
	hottestReading = 450
)

// pointOf converts a sample; ok is false for a fault code or a time no clock shows. A board that counts from its start has 1970.
func pointOf(s Sample) (p point, ok bool) {
	c, year := float64(s.Celsius), s.Time.UTC().Year()
	if !(c > coldestReading && c < hottestReading) || year < 1900 || year > 2200 {
		return point{}, false
	}
	return point{s.Time.UnixMilli(), c}, true
}

// add keeps a sample: the earliest of its slot, and of two at one moment the lower. It reports whether anything changed.
func (tr *trace) add(s Sample) bool {
	p, ok := pointOf(s)
	if !ok {
		return false
	}
	slot := floorDiv(p.ms, slotSeconds*1000)
	if n := len(tr.points); n == 0 || floorDiv(tr.points[n-1].ms, slotSeconds*1000) < slot {
		tr.reserve()
		tr.points = append(tr.points, p)
		return true
	}
	i, found := slices.BinarySearchFunc(tr.points, slot, func(q point, slot int64) int {
		return cmp.Compare(floorDiv(q.ms, slotSeconds*1000), slot)
	})
	if !found {
		tr.reserve()
		tr.points = slices.Insert(tr.points, i, p)
		return true
	}
	if old := tr.points[i]; p.ms < old.ms || p.ms == old.ms && p.c < old.c {
		tr.points[i] = p
		return true
	}
	return false
}

// reserve makes room for one more point. A running cook is most of what a daemon remembers, so a full trace grows by a
// sixteenth, not by the quarter of append.
func (tr *trace) reserve() {
	if n := len(tr.points); n == cap(tr.points) {
		tr.points = append(make([]point, 0, n+n/16+64), tr.points...)
	}
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}

// newTrace keeps the samples of a log.
func newTrace(samples []Sample, at time.Time) trace {
	kept := make([]point, 0, len(samples))
	for _, s := range samples {
		if p, ok := pointOf(s); ok && !s.Time.After(at) {
			kept = append(kept, p)
		}
	}
	slices.SortFunc(kept, func(a, b point) int { return cmp.Or(cmp.Compare(a.ms, b.ms), cmp.Compare(a.c, b.c)) })
	kept = slices.CompactFunc(kept, func(a, b point) bool {
		return floorDiv(a.ms, slotSeconds*1000) == floorDiv(b.ms, slotSeconds*1000)
	})
	return trace{kept}
}

// within gives the points from, inclusive, to, inclusive, in Unix milliseconds.
func (tr *trace) within(from, to int64) []point {
	lo, _ := slices.BinarySearchFunc(tr.points, from, func(p point, ms int64) int { return cmp.Compare(p.ms, ms) })
	hi, _ := slices.BinarySearchFunc(tr.points, to+1, func(p point, ms int64) int { return cmp.Compare(p.ms, ms) })
	return tr.points[lo:max(lo, hi)]
}

// powerOn is the value some digital probes give before their first conversion; a piece passes through it too.
const powerOn = 85.0

// clean drops spikes: readings far from the median of their neighbours within four minutes. Without neighbours a
// reading stands. room is how far a true reading may be from that median, K.
func clean(points []point, room float64) []point {
	out := make([]point, 0, len(points))
	var window []float64
	const reach = 4 * 60 * 1000
	lo, hi := 0, 0
	for i, p := range points {
		lo, hi = max(lo, i-8), max(hi, i)
		for points[lo].ms < p.ms-reach {
			lo++
		}
		for hi+1 < len(points) && hi < i+8 && points[hi+1].ms <= p.ms+reach {
			hi++
		}
		if hi-lo < 2 {
			out = append(out, p)
			continue
		}
		window = window[:0]
		for _, q := range points[lo : hi+1] {
			if q.c != powerOn || p.c == powerOn {
				window = append(window, q.c)
			}
		}
		m := median(window)
		if p.c == powerOn {
			m = medianWithout(points[lo:hi+1], powerOn, m)
		}
		limit := room
		if p.c == powerOn {
			limit = 1.5
		}
		if math.Abs(p.c-m) <= limit {
			out = append(out, p)
		}
	}
	return out
}

func medianWithout(points []point, skip, otherwise float64) float64 {
	var window []float64
	for _, q := range points {
		if q.c != skip {
			window = append(window, q.c)
		}
	}
	if len(window) == 0 {
		return otherwise
	}
	return median(window)
}

// median orders xs and gives the middle; NaN when there is none.
func median(xs []float64) float64 {
	if len(xs) == 0 {
		return math.NaN()
	}
	slices.Sort(xs)
	n := len(xs)
	if n%2 == 1 {
		return xs[n/2]
	}
	return (xs[n/2-1] + xs[n/2]) / 2
}

// The room is how far a core reading may stand from its neighbours, K; the pit moves faster.
const (
	coreRoom = 6
	pitRoom  = 60
)

// readyAt is the first moment at which the median of the last five minutes of readings reaches the target.
func readyAt(points []point, target thermal.Celsius) (time.Time, bool) {
	const span = 5 * 60 * 1000
	lo := 0
	var window []float64
	for i, p := range points {
		for points[lo].ms <= p.ms-span {
			lo++
		}
		if p.c < float64(target) {
			continue
		}
		window = window[:0]
		for _, q := range points[lo : i+1] {
			window = append(window, q.c)
		}
		if median(window) >= float64(target) {
			return time.UnixMilli(p.ms).UTC(), true
		}
	}
	return time.Time{}, false
}

// forget drops points before a time once they make up a tenth of the trace.
func (tr *trace) forget(before int64) {
	n, _ := slices.BinarySearchFunc(tr.points, before, func(p point, ms int64) int { return cmp.Compare(p.ms, ms) })
	if n > 0 && n >= len(tr.points)/10 {
		tr.points = slices.Delete(tr.points, 0, n)
	}
}
