package convert

import (
	"fmt"
	"math"

	"stallkeeper/estimator/thermal"
)

// Divider is a resistive sensor in series with a fixed resistor across a reference voltage; the converter measures the
// joint. Where converter and divider share the reference, its value drops out.
type Divider struct {
	Ohms      float64 // the fixed resistor
	Reference float64 // volts across both
	HighSide  bool    // the sensor sits at the reference; otherwise at ground
}

// Sensor is the sensor's resistance at a measured voltage.
func (d Divider) Sensor(volts float64) (float64, error) { return d.sensor(volts, "V") }

// sensor takes what was measured, and the reference, in whatever unit: volts, or counts of the converter.
func (d Divider) sensor(measured float64, unit string) (float64, error) {
	if !(measured > 0 && measured < d.Reference) {
		return 0, fmt.Errorf("%.6g %s is not between 0 and %.6g, the ends of the divider (%w): look at the sensor's plug and cable, and whether it is connected",
			measured, unit, d.Reference, circuit((measured > 0) != d.HighSide))
	}
	if d.HighSide {
		return d.Ohms * (d.Reference - measured) / measured, nil
	}
	return d.Ohms * measured / (d.Reference - measured), nil
}

// Volts is the voltage at the joint for a resistance of the sensor.
func (d Divider) Volts(ohms float64) float64 {
	if d.HighSide {
		return d.Reference * d.Ohms / (d.Ohms + ohms)
	}
	return d.Reference * ohms / (d.Ohms + ohms)
}

// SelfHeating is how much the measuring current warms the sensor, from its dissipation constant in watt per kelvin: about
// 0.002 to 0.004 for a small bead in still air (from memory, data sheets), several times that in meat.
func (d Divider) SelfHeating(ohms, dissipation float64) thermal.CelsiusDelta {
	current := d.Reference / (d.Ohms + ohms)
	return thermal.CelsiusDelta(current * current * ohms / dissipation)
}

// Resistive is a sensor whose resistance tells the temperature.
type Resistive interface {
	Celsius(ohms float64) (thermal.Celsius, error)
	Ohms(c thermal.Celsius) (float64, error)
}

// Resolution is the step in temperature of one count at a temperature, for a converter that divides the reference into
// counts. It is finest where the sensor's resistance equals the fixed resistor.
func (d Divider) Resolution(sensor Resistive, at thermal.Celsius, counts float64) (thermal.CelsiusDelta, error) {
	const half = 0.01 // K, for the slope
	below, err := sensor.Ohms(at - half)
	if err != nil {
		return 0, err
	}
	above, err := sensor.Ohms(at + half)
	if err != nil {
		return 0, err
	}
	slope := math.Abs(d.Volts(above)-d.Volts(below)) / (2 * half) // V/K
	return thermal.CelsiusDelta(d.Reference / counts / slope), nil
}
