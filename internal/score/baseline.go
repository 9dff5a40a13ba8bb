package score

import (
	"math"
	"time"

	"stallkeeper/estimator/thermal"
)

// Sample is one reading.
type Sample struct {
	Time    time.Time
	Celsius thermal.Celsius
}

// window is what a person would look at to see how fast it rises: the last hour. A choice of this project.
const window = time.Hour

// FirstReady is the ready time seen in a whole log: when the median of the last five minutes first reaches the target.
// Samples must be in time order.
func FirstReady(samples []Sample, target thermal.Celsius) (time.Time, bool) {
	from := 0
	for i, s := range samples {
		for s.Time.Sub(samples[from].Time) >= 5*time.Minute {
			from++
		}
		if s.Celsius < target && i == from {
			continue
		}
		recent := make([]float64, 0, i-from+1)
		for _, r := range samples[from : i+1] {
			recent = append(recent, float64(r.Celsius))
		}
		if Median(recent) >= float64(target) {
			return s.Time, true
		}
	}
	return time.Time{}, false
}

// until gives the samples of the last window before a time.
func until(samples []Sample, at time.Time) []Sample {
	var out []Sample
	for _, s := range samples {
		if !s.Time.After(at) && at.Sub(s.Time) <= window {
			out = append(out, s)
		}
	}
	return out
}

// trend fits a straight line by least squares: the level at a time and the rise per minute.
func trend(samples []Sample, at time.Time) (level, rise float64, ok bool) {
	var n, sx, sy, sxx, sxy float64
	for _, s := range samples {
		x, y := s.Time.Sub(at).Minutes(), float64(s.Celsius)
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	spread := n*sxx - sx*sx
	if n < 2 || spread <= 0 {
		return 0, 0, false
	}
	rise = (n*sxy - sx*sy) / spread
	return (sy - rise*sx) / n, rise, true
}

// StraightLine continues the last hour's trend to the target: minutes from at, +Inf when it does not rise.
func StraightLine(core []Sample, target thermal.Celsius, at time.Time) float64 {
	level, rise, ok := trend(until(core, at), at)
	switch {
	case !ok || rise <= 0:
		return math.Inf(1)
	case level >= float64(target):
		return 0
	}
	return (float64(target) - level) / rise
}

// Newton lets the core approach the last hour's mean pit temperature by Newton's law of heating (the rise is in
// proportion to the difference), at the rate of the last hour: minutes from at, +Inf when that never reaches the target.
func Newton(core, pit []Sample, target thermal.Celsius, at time.Time) float64 {
	level, rise, ok := trend(until(core, at), at)
	var sum float64
	near := until(pit, at)
	for _, s := range near {
		sum += float64(s.Celsius)
	}
	around := sum / float64(len(near))
	switch {
	case !ok || rise <= 0 || !(around > float64(target)):
		return math.Inf(1)
	case level >= float64(target):
		return 0
	}
	// The trend's slope belongs to the middle of the window.
	middle := level - rise*window.Minutes()/2
	tau := (around - middle) / rise
	return tau * math.Log((around-level)/(around-float64(target)))
}

// Timed is a finished piece for the rule of minutes per kilogram.
type Timed struct {
	Cut     string
	MassKg  float64
	Minutes float64
}

// PerKilogram is the kitchen rule: the median minutes per kilogram of other finished pieces of the cut (of all cuts
// when there are fewer than three), times the weight, less what has gone by. NaN when it cannot be said.
func PerKilogram(others []Timed, cut string, massKg, gone float64) float64 {
	var same, all []float64
	for _, o := range others {
		if o.MassKg <= 0 {
			continue
		}
		rate := o.Minutes / o.MassKg
		all = append(all, rate)
		if o.Cut == cut {
			same = append(same, rate)
		}
	}
	if len(same) < 3 {
		same = all
	}
	if massKg <= 0 || len(same) == 0 {
		return math.NaN()
	}
	return max(Median(same)*massKg-gone, 0)
}
