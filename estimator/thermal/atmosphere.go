package thermal

import "math"

// StandardPressure is the pressure of the standard atmosphere in pascal at a height in metres (ISO 2533; the closed
// form with these constants is from memory and reproduces the published rows). Heights are taken to -1000…11000 m.
func StandardPressure(metres float64) float64 {
	return 101325 * math.Pow(1-2.25577e-5*min(max(metres, -1000), 11000), 5.25588)
}

// BoilingPoint is where water boils at a height in metres of the standard atmosphere. Weather moves it by about
// 0.28 °C per 10 hPa.
func BoilingPoint(metres float64) Celsius { return SaturationTemperature(StandardPressure(metres)) }
