// Package thermal holds temperature units and the handbook properties of meat, air and water, each beside its source.
//
// Everything is a value in and a value out, in SI units with temperatures in degrees Celsius. It reads no clock, starts
// no goroutine and does no I/O.
package thermal

import (
	"fmt"
	"math"
)

// Celsius is a temperature in degrees Celsius.
type Celsius float64

// CelsiusDelta is a difference of two temperatures, in kelvin.
type CelsiusDelta float64

// AbsoluteZero is the lowest temperature that can be: a reading below it is not a temperature.
const AbsoluteZero Celsius = -273.15

// FromFahrenheit converts a temperature from degrees Fahrenheit.
func FromFahrenheit(f float64) Celsius { return Celsius((f - 32) / 1.8) }

// Fahrenheit gives the temperature in degrees Fahrenheit.
func (c Celsius) Fahrenheit() float64 { return float64(c)*1.8 + 32 }

// FromKelvin converts an absolute temperature.
func FromKelvin(k float64) Celsius { return Celsius(k) + AbsoluteZero }

// Kelvin gives the absolute temperature.
func (c Celsius) Kelvin() float64 { return float64(c - AbsoluteZero) }

// Finite reports whether the value is a number at or above absolute zero.
func (c Celsius) Finite() bool {
	return !math.IsNaN(float64(c)) && !math.IsInf(float64(c), 0) && c >= AbsoluteZero
}

// String gives the temperature with one decimal, as people read it.
func (c Celsius) String() string { return fmt.Sprintf("%.1f °C", float64(c)) }
