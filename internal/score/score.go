package score

import (
	"math"
	"slices"
)

// Horizon is what a quantile counts as that lies beyond the forecast's reach, in minutes (36 h).
const Horizon = 36 * 60.0

// Levels are the probabilities of the seven quantiles.
func Levels() [7]float64 { return [7]float64{0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95} }

// Quantiles are minutes from the moment of the forecast at Levels, ascending; +Inf where there is none.
type Quantiles [7]float64

// Positions in Levels.
const (
	at10, at25, at50, at75, at90 = 1, 2, 3, 4, 5
)

// Pinball is the loss of a quantile q stated at a level when y happened, in the unit of q and y: (y − q)·level above, (q − y)·(1 − level) below
// (Koenker and Bassett 1978, from memory).
func Pinball(level, q, y float64) float64 {
	if y >= q {
		return (y - q) * level
	}
	return (q - y) * (1 - level)
}

// CRPS of quantiles at ascending levels: twice the pinball loss integrated over the level by trapezoids, the first and
// last held on to 0 and 1. With many levels it becomes ∫ (F(x) − 1{x ≥ y})² dx.
func CRPS(levels, q []float64, y float64) float64 {
	sum := 0.0
	for i, level := range levels {
		lower, upper := 0.0, 1.0
		if i > 0 {
			lower = (levels[i-1] + level) / 2
		}
		if i+1 < len(levels) {
			upper = (level + levels[i+1]) / 2
		}
		sum += (upper - lower) * Pinball(level, q[i], y)
	}
	return 2 * sum
}

// counted replaces what lies beyond the horizon.
func counted(minutes float64) float64 { return min(minutes, Horizon) }

// PIT bins: the gaps between the levels.
const bins = 8

// Expected is the share of truths in each gap between the levels if the forecasts are honest.
func Expected() [bins]float64 { return [bins]float64{0.05, 0.05, 0.15, 0.25, 0.25, 0.15, 0.05, 0.05} }

// Tally collects forecasts with their truths. The zero value is empty.
type Tally struct {
	errors     []float64
	losses     []float64 // CRPS of each
	pinball    float64
	in50, in80 int
	pit        [bins]int
}

// Add takes in a forecast and the minutes that it really took.
func (t *Tally) Add(q Quantiles, y float64) {
	levels := Levels()
	t.in50 += holds(q[at25], q[at75], y)
	t.in80 += holds(q[at10], q[at90], y)
	bin := 0
	for bin < len(q) && y > q[bin] {
		bin++
	}
	t.pit[bin]++
	var c [7]float64
	for i := range q {
		c[i] = counted(q[i])
	}
	y = counted(y)
	t.losses = append(t.losses, CRPS(levels[:], c[:], y))
	for i, level := range levels {
		t.pinball += Pinball(level, c[i], y) / float64(len(levels))
	}
	t.errors = append(t.errors, math.Abs(c[at50]-y))
}

func holds(low, high, y float64) int {
	if y >= low && y <= high {
		return 1
	}
	return 0
}

// Score is the judgement on a Tally. Errors, CRPS and Pinball are minutes, Cover50, Cover80 and PIT shares of 1; NaN throughout when N is 0.
type Score struct {
	N           int
	MedianError float64 // of the p50, absolute
	MeanError   float64
	CRPS        float64
	Pinball     float64 // mean over the seven levels
	Cover50     float64
	Cover80     float64
	PIT         [bins]float64
}

// Score judges what was added.
func (t *Tally) Score() Score {
	n := float64(len(t.errors))
	s := Score{N: len(t.errors), MedianError: Median(t.errors), MeanError: mean(t.errors),
		CRPS: mean(t.losses), Pinball: t.pinball / n, Cover50: float64(t.in50) / n, Cover80: float64(t.in80) / n}
	for i, k := range t.pit {
		s.PIT[i] = float64(k) / n
	}
	return s
}

// Point is a tally of forecasts that are one number. Its mean error is its CRPS.
type Point struct{ errors []float64 }

// Add takes in a forecast in minutes (+Inf counts as Horizon) and the minutes that it really took.
func (p *Point) Add(minutes, y float64) {
	p.errors = append(p.errors, math.Abs(counted(minutes)-counted(y)))
}

// Score gives the number of forecasts with the median and the mean absolute error, NaN when there are none.
func (p *Point) Score() (n int, median, meanError float64) {
	return len(p.errors), Median(p.errors), mean(p.errors)
}

// Median is the middle value, or the mean of the middle two; NaN of none.
func Median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(v))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
