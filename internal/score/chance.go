package score

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Range is where a number would come out in 95 of 100 repetitions; NaN where that cannot be said.
type Range struct{ Low, High float64 }

// Chance is how far the luck of which cooks there were could have moved a Score.
type Chance struct{ MedianError, CRPS Range }

const (
	redraws     = 1000
	fewestCooks = 6 // of fewer, redraws say nothing (a choice of this project)
)

// Chance draws the cooks anew with replacement, each with all its forecasts, and gives the middle 95 % of what comes out
// (the percentile bootstrap, by clusters because the forecasts of a cook err together: Efron & Tibshirani 1993, ch. 13,
// from memory). cooks names the cook of each forecast in the order they were added. The draws are the same each time.
// With a few cooks the ranges are too narrow.
func (t *Tally) Chance(cooks []string) Chance {
	return Chance{MedianError: redrawn(cooks, t.errors, Median), CRPS: redrawn(cooks, t.losses, mean)}
}

// ChanceOfMean is the same for the mean of numbers of which each belongs to a cook, such as paired differences.
func ChanceOfMean(cooks []string, values []float64) Range { return redrawn(cooks, values, mean) }

func redrawn(cooks []string, values []float64, of func([]float64) float64) Range {
	place := map[string]int{}
	var groups [][]float64
	for i, v := range values {
		k, known := place[cooks[i]]
		if !known {
			k = len(groups)
			place[cooks[i]] = k
			groups = append(groups, nil)
		}
		groups[k] = append(groups[k], v)
	}
	if len(groups) < fewestCooks {
		return Range{math.NaN(), math.NaN()}
	}
	rng := rand.New(rand.NewPCG(1, 2))
	out := make([]float64, redraws)
	drawn := make([]float64, 0, 2*len(values))
	for i := range out {
		drawn = drawn[:0]
		for range groups {
			drawn = append(drawn, groups[rng.IntN(len(groups))]...)
		}
		out[i] = of(drawn)
	}
	slices.Sort(out)
	return Range{out[redraws*25/1000], out[redraws*975/1000-1]}
}
