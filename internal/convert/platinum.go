package convert

import (
	"fmt"
	"math"

	"stallkeeper/estimator/thermal"
)

// The Callendar–Van Dusen coefficients and the range of IEC 60751. A table with 138.50 Ω at 100 °C is an older curve.
const (
	platinumA = 3.9083e-3
	platinumB = -5.775e-7
	platinumC = -4.183e-12 // below 0 °C only

	platinumMin thermal.Celsius = -200
	platinumMax thermal.Celsius = 850
)

// Platinum is a platinum sensor after IEC 60751 by its resistance at 0 °C: 100 for a Pt100, 1000 for a Pt1000.
type Platinum float64

// The usual platinum sensors.
const (
	Pt100  Platinum = 100
	Pt1000 Platinum = 1000
)

// Ohms is the resistance at a temperature from −200 to 850 °C.
func (p Platinum) Ohms(c thermal.Celsius) (float64, error) {
	if !(c >= platinumMin && c <= platinumMax) {
		return 0, fmt.Errorf("%.6g °C is outside %.0f … %.0f °C, the range of IEC 60751", float64(c), float64(platinumMin), float64(platinumMax))
	}
	return p.ohms(float64(c)), nil
}

func (p Platinum) ohms(t float64) float64 {
	ratio := 1 + platinumA*t + platinumB*t*t
	if t < 0 {
		ratio += platinumC * (t - 100) * t * t * t
	}
	return float64(p) * ratio
}

// Celsius is the temperature at a resistance. A value up to half of the table's last digit (0.005 Ω for a Pt100) beyond an
// end of the range is that end.
func (p Platinum) Celsius(ohms float64) (thermal.Celsius, error) {
	lo, hi, slack := p.ohms(float64(platinumMin)), p.ohms(float64(platinumMax)), float64(p)*5e-5
	if !(ohms >= lo-slack && ohms <= hi+slack) {
		return 0, fmt.Errorf("%.6g ohms is outside %.2f … %.2f ohms (%.0f to %.0f °C, IEC 60751): check the wiring (%w?), and the sensor's kind",
			ohms, lo, hi, float64(platinumMin), float64(platinumMax), circuit(ohms > hi))
	}
	ohms = min(max(ohms, lo), hi)
	if ohms < float64(p) {
		return thermal.Celsius(bisect(p.ohms, ohms, float64(platinumMin), 0)), nil
	}
	root := math.Sqrt(platinumA*platinumA - 4*platinumB*(1-ohms/float64(p)))
	return min(thermal.Celsius((root-platinumA)/(2*platinumB)), platinumMax), nil
}
