package cook

import (
	"math"
	"testing"
)

func TestParse_UnitsAreNeededAndConverted(t *testing.T) {
	temperature := func(s string) (float64, error) { c, err := ParseTemperature(s); return float64(c), err }
	for _, test := range []struct {
		parse func(string) (float64, error)
		in    string
		want  float64 // NaN = an error
	}{
		{temperature, "107C", 107},
		{temperature, "225F", 107.2222222}, // (225-32)/1.8
		{temperature, "-40 °F", -40},
		{temperature, "107", math.NaN()},
		{temperature, "-300C", math.NaN()},
		{temperature, "1e999C", math.NaN()},
		{temperature, "F", math.NaN()},
		{ParseMass, "3kg", 3},
		{ParseMass, "6lb", 2.72155422}, // 1 lb = 0.45359237 kg, exact by definition
		{ParseMass, "8oz", 0.226796185},
		{ParseMass, "-1kg", math.NaN()},
		{ParseLength, "2in", 50.8}, // 1 in = 25.4 mm, exact by definition
		{ParseLength, "5.2cm", 52},
	} {
		got, err := test.parse(test.in)
		if (err != nil) != math.IsNaN(test.want) || err == nil && math.Abs(got-test.want) > 1e-6 {
			t.Errorf("%q = %v, %v, want %v", test.in, got, err, test.want)
		}
	}
}
