package convert

import (
	"errors"
	"fmt"
	"math"

	"stallkeeper/estimator/thermal"
)

// The range in which a thermistor's formula is believed; common practice, no source.
const (
	thermistorMin thermal.Celsius = -80
	thermistorMax thermal.Celsius = 350

	minOhms, maxOhms = 0.01, 1e9
	minBeta, maxBeta = 1000, 10000 // K at room temperature
)

// Thermistor is the curve 1/T = a + b·L + c·L² + d·L³ with L = ln(R/ref), T in kelvin.
type Thermistor struct {
	ref        float64
	a, b, c, d float64
	lo, hi     float64 // L between which the curve is monotonic and inside the range
}

// SteinhartHart is 1/T = A + B·ln R + C·(ln R)³, R in ohms, T in kelvin.
func SteinhartHart(a, b, c float64) (Thermistor, error) { return FourTerm(1, a, b, 0, c) }

// Beta is the two-parameter curve R = ohms·exp(β(1/T − 1/T₀)) through one known point.
func Beta(ohms float64, at thermal.Celsius, beta float64) (Thermistor, error) {
	if !(beta > 0) {
		return Thermistor{}, fmt.Errorf("beta %.6g is not above 0: give it in kelvin, such as 3950", beta)
	}
	return FourTerm(ohms, 1/at.Kelvin(), 1/beta, 0, 0)
}

// FourTerm is 1/T = a + b·L + c·L² + d·L³ with L = ln(R/ref), the form in which makers print ratio curves (ref = R25).
func FourTerm(ref, a, b, c, d float64) (Thermistor, error) {
	if !(ref >= minOhms && ref <= maxOhms) {
		return Thermistor{}, fmt.Errorf("reference resistance %.6g is outside %g … %g ohms", ref, minOhms, maxOhms)
	}
	t := Thermistor{ref: ref, a: a, b: b, c: c, d: d}
	if err := t.bound(); err != nil {
		return Thermistor{}, err
	}
	return t, nil
}

// bound finds the stretch around 25 °C in which temperature falls steadily with resistance, cut to the range. It walks
// in steps of about 0.3 K.
func (t *Thermistor) bound() error {
	first, last := math.Log(minOhms/t.ref), math.Log(maxOhms/t.ref)
	const steps = 2048
	at := func(i int) float64 { return first + (last-first)*float64(i)/steps }
	room, coldest, hottest := 1/(25-float64(thermal.AbsoluteZero)), 1/thermistorMin.Kelvin(), 1/thermistorMax.Kelvin()
	inside := func(i int) bool {
		l := at(i)
		return t.rise(l) > 0 && t.inverse(l) > hottest && t.inverse(l) < coldest
	}
	start, off := -1, 0.1*room // 30 K off at most
	for i := range steps + 1 {
		if y := math.Abs(t.inverse(at(i)) - room); y < off && inside(i) && t.rise(at(i)) > 1.0/maxBeta && t.rise(at(i)) < 1.0/minBeta {
			start, off = i, y
		}
	}
	if start < 0 {
		return errors.New("the coefficients are no thermistor's, near 25 °C no resistance fits: check their order, powers of ten and the unit (ohms)")
	}
	i, j := start, start
	for i > 0 && inside(i-1) {
		i--
	}
	for j < steps && inside(j+1) {
		j++
	}
	t.lo, t.hi = at(i), at(j)
	return nil
}

func (t Thermistor) inverse(l float64) float64 { return t.a + l*(t.b+l*(t.c+l*t.d)) }
func (t Thermistor) rise(l float64) float64    { return t.b + l*(2*t.c+3*t.d*l) }

// Range gives the temperatures for which the curve stands.
func (t Thermistor) Range() (lo, hi thermal.Celsius) {
	return thermal.FromKelvin(1 / t.inverse(t.hi)), thermal.FromKelvin(1 / t.inverse(t.lo))
}

// Celsius is the temperature at a resistance.
func (t Thermistor) Celsius(ohms float64) (thermal.Celsius, error) {
	const slack = 1e-9
	l := math.Log(ohms / t.ref)
	if !(ohms > 0 && l >= t.lo-slack && l <= t.hi+slack) {
		lo, hi := t.Range()
		return 0, fmt.Errorf("%.6g ohms is outside %.4g … %.4g ohms (%.0f to %.0f °C of this thermistor): check the wiring (%w?) and the coefficients",
			ohms, t.ref*math.Exp(t.lo), t.ref*math.Exp(t.hi), float64(hi), float64(lo), circuit(l > t.hi))
	}
	return thermal.FromKelvin(1 / t.inverse(min(max(l, t.lo), t.hi))), nil
}

// Ohms is the resistance at a temperature.
func (t Thermistor) Ohms(c thermal.Celsius) (float64, error) {
	lo, hi := t.Range()
	const slack = 1e-6
	if !(c >= lo-slack && c <= hi+slack) {
		return 0, fmt.Errorf("%.6g °C is outside %.0f … %.0f °C, the range of this thermistor's curve", float64(c), float64(lo), float64(hi))
	}
	return t.ref * math.Exp(bisect(t.inverse, 1/c.Kelvin(), t.lo, t.hi)), nil
}
