package calibrate

import (
	"math"
	"time"

	"stallkeeper/estimator/thermal"
)

// Comparison lays readings of two probes side by side: how much the first shows above the second.
type Comparison struct {
	Pairs       int
	From, To    time.Time            // of the first and the last pair
	Mean        thermal.CelsiusDelta // systematic difference
	Spread      thermal.CelsiusDelta // standard deviation of the differences, 0 with one pair
	Least, Most thermal.CelsiusDelta
}

// Compare pairs each sample of a with the nearest of b that lies within the time, each of b once. Both are in time order.
// In one bath the mean is the difference of the two probes; in two places it is also that of the places.
func Compare(a, b []Sample, within time.Duration) Comparison {
	var c Comparison
	var sum, squares float64
	next := 0
	for _, s := range a {
		for next < len(b) && s.Time.Sub(b[next].Time) > within {
			next++
		}
		best := -1
		for j := next; j < len(b) && b[j].Time.Sub(s.Time) <= within; j++ {
			if best < 0 || b[j].Time.Sub(s.Time).Abs() < b[best].Time.Sub(s.Time).Abs() {
				best = j
			}
		}
		if best < 0 {
			continue
		}
		next = best + 1
		d := thermal.CelsiusDelta(s.Celsius - b[best].Celsius)
		if c.Pairs == 0 {
			c.From, c.Least, c.Most = s.Time, d, d
		}
		c.Pairs++
		c.To, c.Least, c.Most = s.Time, min(c.Least, d), max(c.Most, d)
		before := sum / math.Max(float64(c.Pairs-1), 1)
		sum += float64(d)
		squares += (float64(d) - before) * (float64(d) - sum/float64(c.Pairs)) // Welford's sums: the first term is 0 by its second factor
	}
	if c.Pairs > 0 {
		c.Mean = thermal.CelsiusDelta(sum / float64(c.Pairs))
	}
	if c.Pairs > 1 {
		c.Spread = thermal.CelsiusDelta(math.Sqrt(squares / float64(c.Pairs-1)))
	}
	return c
}
