package chart

import (
	"fmt"
	"math"
	"time"

	"stallkeeper/estimator/thermal"
)

// Curve is a piece's measured past and forecast.
type Curve struct {
	From, Now time.Time
	Core, Pit []Stop
	Path      []FanPoint
	Target    thermal.Celsius
	SetPoint  thermal.Celsius
	Marks     []Mark
	Serve     time.Time // zero = no serving hour
}

// Stop is a stretch of readings, stamped where it ends: there its last value holds.
type Stop struct {
	At              time.Time
	Last, Low, High thermal.Celsius
}

// FanPoint is what a forecast says of a moment, at five levels.
type FanPoint struct {
	At                      time.Time
	P10, P25, P50, P75, P90 thermal.Celsius
}

// Mark is an event beside the curve.
type Mark struct {
	Time time.Time
	What string
}

// Number is a temperature in JSON, in the reader's unit: one decimal, or null for a missing one.
type Number float64

// MarshalJSON writes one decimal, or null.
func (n Number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return []byte("null"), nil
	}
	return fmt.Appendf(nil, "%.1f", float64(n)), nil
}

// Figures are what the script draws, in the reader's unit. Times are Unix seconds.
type Figures struct {
	Unit     string      `json:"unit"`
	Zone     string      `json:"zone"`
	Now      int64       `json:"now"`
	Serve    int64       `json:"serve,omitempty"`
	Target   Number      `json:"target"`
	SetPoint Number      `json:"setpoint"`
	Core     [2][]any    `json:"core"` // times, values
	Pit      [4][]any    `json:"pit"`  // times, last, least, most
	Fan      [6][]any    `json:"fan"`  // times, 10, 25, 50, 75, 90 %
	Marks    []MarkPoint `json:"marks"`
}

// MarkPoint is a mark among the figures.
type MarkPoint struct {
	Time int64  `json:"time"`
	What string `json:"what"`
}

// Figures gives the curve in a unit and a zone; degrees turns a temperature into a number of the unit.
func (c *Curve) Figures(unit string, zone *time.Location, degrees func(thermal.Celsius) float64) Figures {
	deg := func(t thermal.Celsius) Number { return Number(degrees(t)) }
	out := Figures{Unit: unit, Zone: zone.String(), Now: c.Now.Unix(), Target: deg(c.Target), SetPoint: deg(c.SetPoint), Marks: []MarkPoint{}}
	if !c.Serve.IsZero() {
		out.Serve = c.Serve.Unix()
	}
	put := func(rows [][]any, values ...any) {
		for i, v := range values {
			rows[i] = append(rows[i], v)
		}
	}
	for _, b := range c.Core {
		put(out.Core[:], b.At.Unix(), deg(b.Last))
	}
	for _, b := range c.Pit {
		put(out.Pit[:], b.At.Unix(), deg(b.Last), deg(b.Low), deg(b.High))
	}
	for _, q := range c.Path {
		put(out.Fan[:], q.At.Unix(), deg(q.P10), deg(q.P25), deg(q.P50), deg(q.P75), deg(q.P90))
	}
	for _, m := range c.Marks {
		out.Marks = append(out.Marks, MarkPoint{m.Time.Unix(), m.What})
	}
	return out
}
