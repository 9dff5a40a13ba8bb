package convert

import (
	"math"
	"strings"
	"testing"

	"stallkeeper/estimator/thermal"
)

// Rows of the Pt100 table of IEC 60751.
var platinumRows = [][2]float64{
	{-200, 18.52}, {-100, 60.26}, {-50, 80.31}, {-20, 92.16}, {0, 100.00}, {10, 103.90}, {20, 107.79}, {50, 119.40}, {60, 123.24}, {70, 127.08},
	{80, 130.90}, {90, 134.71}, {100, 138.51}, {120, 146.07}, {150, 157.33}, {200, 175.86}, {250, 194.10}, {300, 212.05}, {400, 247.09},
}

func TestPlatinum_ReproducesTheTableBothWays(t *testing.T) {
	for _, row := range platinumRows {
		for p, scale := range map[Platinum]float64{Pt100: 1, Pt1000: 10} {
			ohms, err := p.Ohms(thermal.Celsius(row[0]))
			if err != nil || math.Abs(ohms-row[1]*scale) > 0.005*scale+1e-9 {
				t.Errorf("Pt%v at %v °C = %.4f ohms, %v; the table has %v", float64(p), row[0], ohms, err, row[1]*scale)
			}
			// Half of the last digit, 0.005 ohm, is 0.013 °C.
			got, err := p.Celsius(row[1] * scale)
			if err != nil || math.Abs(float64(got)-row[0]) > 0.0140 {
				t.Errorf("Pt%v at %v ohms = %.4f °C, %v; the table has %v", float64(p), row[1]*scale, float64(got), err, row[0])
			}
		}
	}
	// 138.50 at 100 °C and 175.84 at 200 °C belong to an older curve.
	if ohms, err := Pt100.Ohms(100); err != nil || math.Round(ohms*100) == 13850 {
		t.Errorf("Pt100 at 100 °C is on the older curve: %v, %v", ohms, err)
	}
	// 0.385 ohm in the leads of a two-wire Pt100 is 1 °C.
	if got, err := Pt100.Celsius(100.385); err != nil || math.Abs(float64(got)-1) > 0.02 {
		t.Errorf("0.385 ohm of lead = %v, %v; want 1 °C", got, err)
	}
}

func TestPlatinum_RefusesWithTheRange(t *testing.T) {
	for _, ohms := range []float64{18.5, 391, 0, -5, math.NaN(), math.Inf(1)} {
		if _, err := Pt100.Celsius(ohms); err == nil || !strings.Contains(err.Error(), "18.52 … 390.48 ohms (-200 to 850 °C") {
			t.Errorf("Celsius(%v): error %v does not name the range", ohms, err)
		}
	}
	for _, c := range []thermal.Celsius{-201, 851, thermal.Celsius(math.NaN())} {
		if _, err := Pt100.Ohms(c); err == nil || !strings.Contains(err.Error(), "-200 … 850") {
			t.Errorf("Ohms(%v): error %v does not name the range", c, err)
		}
	}
}
