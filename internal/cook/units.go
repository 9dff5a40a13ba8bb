package cook

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"stallkeeper/estimator/thermal"
)

// ParseTemperature reads a temperature with its unit: "107C", "225F", "107 °C", "380.15K".
func ParseTemperature(s string) (thermal.Celsius, error) {
	v, unit, err := splitUnit(s)
	if err != nil {
		return 0, fmt.Errorf("temperature %q: write a number with its unit, such as 107C or 225F", s)
	}
	var c thermal.Celsius
	switch strings.ToUpper(strings.TrimPrefix(unit, "°")) {
	case "C":
		c = thermal.Celsius(v)
	case "F":
		c = thermal.FromFahrenheit(v)
	case "K":
		c = thermal.FromKelvin(v)
	default:
		return 0, fmt.Errorf("temperature %q has no unit: write 107C or 225F", s)
	}
	if !c.Finite() {
		return 0, fmt.Errorf("temperature %q is below absolute zero: check the number and the unit", s)
	}
	return c, nil
}

// ParseTemperatureDelta reads a difference of temperatures: "1F" is 0.556 K.
func ParseTemperatureDelta(s string) (thermal.CelsiusDelta, error) {
	v, unit, err := splitUnit(s)
	if err != nil {
		return 0, fmt.Errorf("temperature difference %q: write a number with its unit, such as 1C or 1F", s)
	}
	switch strings.ToUpper(strings.TrimPrefix(unit, "°")) {
	case "C", "K":
		return thermal.CelsiusDelta(v), nil
	case "F":
		return thermal.CelsiusDelta(v / 1.8), nil
	}
	return 0, fmt.Errorf("temperature difference %q has no unit: write 1C or 1F", s)
}

// Pounds and ounces are the international avoirdupois units; exact by definition (1 lb = 0.45359237 kg).
const (
	kgPerPound = 0.45359237
	kgPerOunce = kgPerPound / 16
)

// ParseMass reads a mass with its unit, in kilograms: "3kg", "400g", "6lb", "8oz".
func ParseMass(s string) (kg float64, err error) {
	v, unit, err := splitUnit(s)
	if err != nil {
		return 0, fmt.Errorf("mass %q: write a number with its unit, such as 3kg or 6lb", s)
	}
	factor, ok := map[string]float64{"kg": 1, "g": 1e-3, "lb": kgPerPound, "oz": kgPerOunce}[strings.ToLower(unit)]
	if !ok {
		return 0, fmt.Errorf("mass %q has no unit of mass: write it in g, kg, lb or oz", s)
	}
	if v < 0 {
		return 0, fmt.Errorf("mass %q is negative: enter what the scale shows", s)
	}
	return v * factor, nil
}

// ParseLength reads a length with its unit, in millimetres: "52mm", "5.2cm", "2in".
func ParseLength(s string) (mm float64, err error) {
	v, unit, err := splitUnit(s)
	if err != nil {
		return 0, fmt.Errorf("length %q: write a number with its unit, such as 52mm or 2in", s)
	}
	factor, ok := map[string]float64{"mm": 1, "cm": 10, "m": 1000, "in": 25.4}[strings.ToLower(unit)]
	if !ok {
		return 0, fmt.Errorf("length %q has no unit of length: write it in mm, cm or in", s)
	}
	if v < 0 {
		return 0, fmt.Errorf("length %q is negative: enter what was measured", s)
	}
	return v * factor, nil
}

func splitUnit(s string) (float64, string, error) {
	s = strings.TrimSpace(s)
	i := strings.LastIndexAny(s, "0123456789.") + 1
	v, err := strconv.ParseFloat(s[:i], 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, "", fmt.Errorf("%q is not a number with a unit", s)
	}
	return v, strings.TrimSpace(s[i:]), nil
}
