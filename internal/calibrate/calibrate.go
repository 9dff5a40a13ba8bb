// Package calibrate judges and corrects a probe by what it shows in melting ice and in boiling water.
//
// Settle finds the stretch in which a reading has come to rest; Reference gives what it should be there; Judge compares
// the two; Fit turns one point into an offset and two points into a line; Stand tells from a probe's checks whether it is due,
// which of its readings are in doubt and how it drifts; Compare lays two probes side by side. Values in, values out: the package keeps nothing, reads no clock and does no I/O.
//
// That ice slurry and boiling water are the points, and that ±1 °C is accepted, is common practice, no source; the
// boiling point is that of IAPWS-IF97 at the station's pressure, or at the altitude's in the standard atmosphere.
package calibrate

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/when"
)

// Kind names a reference.
type Kind string

// The references.
const (
	Ice  Kind = "ice"  // crushed ice and clean water, stirred, the tip off the walls: 0 °C
	Boil Kind = "boil" // a rolling boil, the tip off the bottom: for checks above 50 °C
)

// Place says under which pressure water boils; give one of the two.
type Place struct {
	AltitudeM  float64 // metres above the sea, −430 to 5000
	PressurePa float64 // station pressure, not reduced to sea level; 0: by altitude
}

// Reference is the temperature that a good probe shows.
func Reference(k Kind, p Place) (thermal.Celsius, error) {
	switch {
	case k == Ice:
		return 0, nil
	case k != Boil:
		return 0, fmt.Errorf("reference %q is not known: use ice or boil", k)
	case p.PressurePa != 0:
		if !(p.PressurePa >= 50e3 && p.PressurePa <= 110e3) {
			return 0, fmt.Errorf("pressure %.0f hPa is not between 500 and 1100: give the station's pressure in hPa", p.PressurePa/100)
		}
		return thermal.SaturationTemperature(p.PressurePa), nil
	case !(p.AltitudeM >= -430 && p.AltitudeM <= 5000):
		return 0, fmt.Errorf("altitude %.0f m is not between -430 and 5000", p.AltitudeM)
	}
	return thermal.BoilingPoint(p.AltitudeM), nil
}

// Sample is one reading of the probe.
type Sample struct {
	Time    time.Time
	Celsius thermal.Celsius
}

// Rest says when a reading counts as settled; common practice, no source.
type Rest struct {
	Window  time.Duration        // over which it is looked at
	Slope   float64              // K/min, at most
	Spread  thermal.CelsiusDelta // between lowest and highest, at most
	Samples int                  // in the window, at least
	Near    thermal.CelsiusDelta // of the reference, at most: farther away it is not in the bath yet
}

// DefaultRest suits probes that are read every 30 s or faster. A probe that creeps with the slope's limit and a time
// constant of two minutes still has 0.2 K to go.
func DefaultRest() Rest {
	return Rest{Window: 2 * time.Minute, Slope: 0.1, Spread: 0.6, Samples: 5, Near: 15}
}

// Settle gives the mean of the last window of samples in time order, and in words what is missing while it has not come to
// rest.
func Settle(samples []Sample, reference thermal.Celsius, rest Rest) (shown thermal.Celsius, waiting string) {
	if len(samples) == 0 {
		return 0, "no reading yet"
	}
	last := samples[len(samples)-1].Time
	i, _ := slices.BinarySearchFunc(samples, last.Add(-rest.Window), func(s Sample, t time.Time) int { return s.Time.Compare(t) })
	window := samples[i:]
	covered := last.Sub(window[0].Time)
	lo, hi, mean := window[0].Celsius, window[0].Celsius, 0.0
	for _, s := range window {
		lo, hi = min(lo, s.Celsius), max(hi, s.Celsius)
		mean += float64(s.Celsius) / float64(len(window))
	}
	slope := slopePerMinute(window)
	now := window[len(window)-1].Celsius
	switch {
	case len(window) < rest.Samples || covered < rest.Window*3/4:
		return 0, fmt.Sprintf("%.2f °C, %d readings over %s", float64(now), len(window), when.Span(covered))
	case math.Abs(float64(now-reference)) > float64(rest.Near) || math.Abs(mean-float64(reference)) > float64(rest.Near):
		return 0, fmt.Sprintf("%.2f °C is not near %.2f °C: is the probe in?", float64(now), float64(reference))
	case math.Abs(slope) > rest.Slope:
		return 0, fmt.Sprintf("%.2f °C, still moving %+.2f K/min", float64(now), slope)
	case thermal.CelsiusDelta(hi-lo) > rest.Spread:
		return 0, fmt.Sprintf("%.2f °C, unsteady by %.2f K: stir", mean, float64(hi-lo))
	}
	return thermal.Celsius(mean), ""
}

// slopePerMinute is the slope of the least-squares line; 0 where all samples have one time.
func slopePerMinute(window []Sample) float64 {
	n := float64(len(window))
	var meanT, meanC float64
	for _, s := range window {
		meanT += s.Time.Sub(window[0].Time).Minutes() / n
		meanC += float64(s.Celsius) / n
	}
	var sxy, sxx float64
	for _, s := range window {
		dt := s.Time.Sub(window[0].Time).Minutes() - meanT
		sxy += dt * (float64(s.Celsius) - meanC)
		sxx += dt * dt
	}
	if sxx == 0 {
		return 0
	}
	return sxy / sxx
}

// Point is one finished comparison.
type Point struct {
	Kind      Kind
	Time      time.Time
	Reference thermal.Celsius
	Shown     thermal.Celsius
}

// Error is how much too hot the probe shows.
func (p Point) Error() thermal.CelsiusDelta { return thermal.CelsiusDelta(p.Shown - p.Reference) }

// DefaultTolerance is the accepted error; common practice, no source.
const DefaultTolerance thermal.CelsiusDelta = 1

// Judge reports whether all points are within the tolerance. No points pass nothing.
func Judge(points []Point, tolerance thermal.CelsiusDelta) bool {
	return len(points) > 0 && !slices.ContainsFunc(points, func(p Point) bool { return !(math.Abs(float64(p.Error())) <= float64(tolerance)) })
}

// Correction is true = Slope × shown + K, as the configuration takes it.
type Correction struct {
	Slope float64
	K     float64
}

// Apply corrects what the probe shows.
func (c Correction) Apply(shown thermal.Celsius) thermal.Celsius {
	return thermal.Celsius(c.Slope*float64(shown) + c.K)
}

// Limits of a correction: beyond them a probe is broken or of another kind, and correcting hides it. Common practice, no
// source.
const (
	largestOffset = 10.0
	largestSlope  = 0.1 // off 1
)

// Fit draws the correction through one point (an offset) or two (a line). It refuses one that no good probe needs.
func Fit(points []Point) (Correction, error) {
	var c Correction
	switch len(points) {
	case 1:
		c = Correction{1, -float64(points[0].Error())}
	case 2:
		a, b := points[0], points[1]
		if math.Abs(float64(b.Reference-a.Reference)) < 20 {
			return c, errors.New("the two points are less than 20 °C apart: take ice and boil")
		}
		c.Slope = float64(b.Reference-a.Reference) / float64(b.Shown-a.Shown)
		c.K = float64(a.Reference) - c.Slope*float64(a.Shown)
	default:
		return c, fmt.Errorf("%d points: a correction takes one or two", len(points))
	}
	worst := 0.0
	for _, p := range points {
		worst = max(worst, math.Abs(float64(p.Error())))
	}
	if !(worst <= largestOffset && math.Abs(c.Slope-1) <= largestSlope) {
		return Correction{}, fmt.Errorf("the probe is off by %.1f °C: do not correct it, look for a wrong kind, a wet plug or a broken cable, and replace it", worst)
	}
	return c, nil
}

// Due reports whether a probe's last check is older than the interval; one that was never checked is due.
func Due(last, now time.Time, every time.Duration) bool {
	return last.IsZero() || now.Sub(last) > every
}
