package simulate

import "math"

// Saturation vapour pressure over water, Pa, from Hyland & Wexler 1983 as printed in the ASHRAE Handbook, Fundamentals,
// chapter 1 (psychrometrics); the test holds it against values published there.
func saturation(celsius float64) float64 {
	t := celsius + 273.15
	return math.Exp(-5.8002206e3/t + 1.3914993 - 4.8640239e-2*t + 4.1764768e-5*t*t - 1.4452093e-8*t*t*t + 6.5459673*math.Log(t))
}

// The table runs from vapourLow in steps of 1 K; beyond its ends the end segments are continued.
const (
	vapourLow   = -20
	vapourSteps = 240
)

// vapourTable is saturation tabulated, for speed: one Run asks some hundred million times.
type vapourTable [vapourSteps + 1]float64

func newVapourTable() *vapourTable {
	var v vapourTable
	for i := range v {
		v[i] = saturation(float64(vapourLow + i))
	}
	return &v
}

// at gives the pressure and its slope per kelvin.
func (v *vapourTable) at(celsius float64) (pressure, slope float64) {
	x := celsius - vapourLow
	i := min(max(int(x), 0), vapourSteps-1)
	slope = v[i+1] - v[i]
	return v[i] + slope*(x-float64(i)), slope
}

// boiling inverts the table: the temperature at which water boils under a pressure.
func (v *vapourTable) boiling(pressure float64) float64 {
	for i := range vapourSteps {
		if v[i+1] >= pressure {
			return vapourLow + float64(i) + (pressure-v[i])/(v[i+1]-v[i])
		}
	}
	return vapourLow + vapourSteps
}

// latentHeat of evaporation, J/kg (linear form of the handbook value; from memory).
func latentHeat(celsius float64) float64 { return 2.501e6 - 2380*celsius }

// airPressure of the standard atmosphere, Pa (ISO 2533; this form from memory).
func airPressure(altitudeM float64) float64 {
	return 101325 * math.Pow(1-2.25577e-5*altitudeM, 5.25588)
}
