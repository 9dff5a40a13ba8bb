package outlook

import (
	"math"
	"slices"
	"time"

	"stallkeeper/estimator"
)

// ChanceBy is P(ready by t), from the draws, or from the measured time once ready. NaN when there is no forecast.
func ChanceBy(f estimator.Forecast, t time.Time) float64 {
	if len(f.Draws) == 0 {
		if f.State == estimator.Ready && !f.Ready[level50].IsZero() {
			if f.Ready[level50].After(t) {
				return 0
			}
			return 1
		}
		return math.NaN()
	}
	n := 0
	for _, d := range f.Draws {
		if !d.Ready.IsZero() && !d.Ready.After(t) {
			n++
		}
	}
	return float64(n) / float64(len(f.Draws))
}

// draws gives the ready times of a forecast by draw; one measured time stands for all draws once ready.
func draws(f estimator.Forecast, n int) []time.Time {
	out := make([]time.Time, n)
	for i := range out {
		switch {
		case i < len(f.Draws):
			out[i] = f.Draws[i].Ready
		case f.State == estimator.Ready:
			out[i] = f.Ready[level50]
		}
	}
	return out
}

// AllReadyBy gives the joint ready time of all pieces of one pit at estimator.Levels: draw by draw the latest piece.
// Zero where the level is not reached within the horizon, and everywhere when a piece cannot be forecast.
func AllReadyBy(forecasts []estimator.Forecast) [len(estimator.Levels)]time.Time {
	var none [len(estimator.Levels)]time.Time
	n := 1
	for _, f := range forecasts {
		if len(f.Draws) == 0 && f.State != estimator.Ready {
			return none
		}
		n = max(n, len(f.Draws))
	}
	if len(forecasts) == 0 {
		return none
	}
	var reached []time.Time
	for i, latest := range draws(forecasts[0], n) {
		never := latest.IsZero()
		for _, f := range forecasts[1:] {
			t := draws(f, n)[i]
			never = never || t.IsZero()
			if t.After(latest) {
				latest = t
			}
		}
		if !never {
			reached = append(reached, latest)
		}
	}
	slices.SortFunc(reached, time.Time.Compare)
	out := none
	for i, level := range estimator.Levels {
		if k := rank(level, n); k < len(reached) {
			out[i] = reached[k]
		}
	}
	return out
}

// rank is the index of the smallest of n values below or at which the level lies.
func rank(level float64, n int) int { return max(int(math.Ceil(level*float64(n)-1e-9))-1, 0) }
