package thermal

import "math"

// molarRatio is the molar mass of water over that of dry air (2017 ASHRAE Handbook, Fundamentals, ch. 1).
const molarRatio = 0.621945

// HumidityRatio is the kg of vapour per kg of dry air at a vapour pressure and a total pressure in pascal
// (2017 ASHRAE Handbook, Fundamentals, ch. 1). It is +Inf where the vapour pressure reaches the total.
func HumidityRatio(vapour, pressure float64) float64 {
	if vapour >= pressure {
		return math.Inf(1)
	}
	return molarRatio * vapour / (pressure - vapour)
}

// HumidityRatioFromWetBulb is the kg of vapour per kg of dry air of air at a dry and a wet bulb at or above 0 °C
// (2017 ASHRAE Handbook, Fundamentals, ch. 1, eq. 33; constants from memory). It holds with a dry bulb above 100 °C as
// long as the wet bulb is below the boiling point.
func HumidityRatioFromWetBulb(dry, wet Celsius, pressure float64) float64 {
	t, w := float64(dry), float64(wet)
	saturated := HumidityRatio(SaturationPressure(wet), pressure)
	return ((2501-2.326*w)*saturated - 1.006*(t-w)) / (2501 + 1.86*t - 4.186*w)
}

// WetBulb is the temperature of a wetted bulb in air at a dry bulb and a dew point, by bisection on
// HumidityRatioFromWetBulb. It holds above 100 °C dry bulb, where relative humidity means nothing. Both temperatures
// must be at or above 0 °C and the dew point below the boiling point; the result is NaN otherwise.
func WetBulb(dry, dewPoint Celsius, pressure float64) Celsius {
	boil := SaturationTemperature(pressure)
	if !(dry >= 0 && dewPoint >= 0 && dewPoint <= dry && dewPoint < boil) {
		return Celsius(math.NaN())
	}
	ratio := HumidityRatio(SaturationPressure(dewPoint), pressure)
	lo, hi := dewPoint, min(dry, boil-1e-6)
	for range 60 {
		mid := (lo + hi) / 2
		if HumidityRatioFromWetBulb(dry, mid, pressure) < ratio {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
