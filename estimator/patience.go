package estimator

import (
	"math"
	"math/rand/v2"
	"time"
)

// Nobody watches a piece for two days: before that the pit is raised or the piece wrapped, or there was never a finished
// cook to learn from. None of those behind the prior took longer than 32 hours (a choice of this project).
const (
	patienceHours = 29.0 // half of the scenarios that take this long are drawn anew
	patienceSharp = 10.0
	patienceTries = 5
)

// lose draws anew most scenarios that take longer than people let a piece sit. A target that is out of reach stays so, and
// where the fire is out nobody is watching.
func (s *scenarios) lose(e *Estimator, in *Input, at time.Time) {
	if s.outOfReach(in) != "" || s.a.outage > 0 {
		return
	}
	began := time.UnixMilli(s.h.t0)
	if !in.Started.IsZero() && in.Started.Before(began) {
		began = in.Started
	}
	gone := at.Sub(began).Hours()
	for k := range s.ends {
		luck := rand.New(rand.NewPCG(seedOf(in)^uint64(k), 1000))
		for try := 1; try <= patienceTries && luck.Float64() >= lasts(gone, s.ends[k].ready/hour); try++ {
			s.ends[k] = s.run(e, in, k, try)
		}
	}
}

// lasts is the probability that a cook that has gone on for some hours is let go on for more.
func lasts(gone, more float64) float64 {
	whole := gone + math.Min(more, Horizon.Hours())
	return (1 + math.Pow(gone/patienceHours, patienceSharp)) / (1 + math.Pow(whole/patienceHours, patienceSharp))
}
