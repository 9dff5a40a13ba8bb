package convert

import (
	"maps"
	"math"
	"strings"
	"testing"

	"stallkeeper/estimator/thermal"
)

// Rows of the type K table of the ITS-90 reference functions, as NIST publishes it, °C and mV.
var typeKRows = [][2]float64{
	{-270, -6.458}, {-200, -5.891}, {-190, -5.730}, {-150, -4.913}, {-140, -4.669}, {-130, -4.411},
	{0, 0.000}, {1, 0.039}, {2, 0.079}, {10, 0.397}, {20, 0.798}, {25, 1.000}, {50, 2.023}, {65, 2.644}, {75, 3.059}, {90, 3.682},
	{100, 4.096}, {101, 4.138}, {110, 4.509}, {120, 4.920}, {150, 6.138}, {200, 8.138}, {250, 10.153}, {300, 12.209}, {350, 14.293}, {400, 16.397},
}

// End points and round temperatures of the other types' tables: from memory.
var otherRows = map[Thermocouple][][2]float64{
	"J": {{-210, -8.095}, {0, 0}, {100, 5.269}, {200, 10.779}, {760, 42.919}, {1200, 69.553}},
	"T": {{-270, -6.258}, {-200, -5.603}, {0, 0}, {100, 4.279}, {200, 9.288}, {400, 20.872}},
	"N": {{-270, -4.345}, {-200, -3.990}, {0, 0}, {100, 2.774}, {500, 16.748}, {1300, 47.513}},
	"E": {{-270, -9.835}, {-200, -8.825}, {0, 0}, {100, 6.319}, {1000, 76.373}},
}

func TestThermocouple_ReproducesTheTablesBothWays(t *testing.T) {
	rows := map[Thermocouple][][2]float64{"K": typeKRows}
	maps.Copy(rows, otherRows)
	for tc, table := range rows {
		for _, row := range table {
			mv, err := tc.Millivolts(thermal.Celsius(row[0]))
			if err != nil || math.Abs(mv-row[1]) > 0.0005+1e-9 {
				t.Errorf("type %s at %v °C = %.5f mV, %v; the table has %v", tc, row[0], mv, err, row[1])
			}
			// The printed millivolts, give or take half of their last digit, enclose the row's temperature.
			got, err := tc.Celsius(row[1], 0)
			if err != nil {
				t.Errorf("type %s at %v mV: %v", tc, row[1], err)
				continue
			}
			back, err := tc.Millivolts(got)
			if err != nil || math.Abs(back-mv) > 0.0005+1e-9 {
				t.Errorf("type %s at %v mV = %v, which gives %v mV (%v); the table has %v °C", tc, row[1], got, back, err, row[0])
			}
			if row[0] > -200 && math.Abs(float64(got)-row[0]) > 0.05 {
				t.Errorf("type %s at %v mV = %.3f °C; the table has %v", tc, row[1], float64(got), row[0])
			}
		}
	}
}

// NIST publishes an inverse polynomial for 0 … 20.644 mV, good to -0.05 … 0.04 °C, and one for -5.891 … 0 mV, good to
// -0.02 … 0.04 °C (the second band from memory). Ours inverts the function itself and has to agree within these bands.
func TestThermocouple_AgreesWithThePublishedInverse(t *testing.T) {
	above := []float64{0, 2.508355e1, 7.860106e-2, -2.503131e-1, 8.315270e-2, -1.228034e-2, 9.804036e-4, -4.413030e-5, 1.057734e-6, -1.052755e-8}
	below := []float64{0, 2.5173462e1, -1.1662878, -1.0833638, -8.9773540e-1, -3.7342377e-1, -8.6632643e-2, -1.0450598e-2, -5.1920577e-4}
	least, most := 0.0, 0.0
	for mv := 0.0; mv <= 20.644; mv += 0.01 {
		got, err := Thermocouple("K").Celsius(mv, 0)
		if err != nil {
			t.Fatal(err)
		}
		d := polynomial(above, mv) - float64(got)
		least, most = min(least, d), max(most, d)
	}
	if least < -0.05 || most > 0.04 || least > -0.03 || most < 0.02 {
		t.Errorf("the published inverse is off by %.3f … %.3f °C, want -0.05 … 0.04", least, most)
	}
	for mv := -5.891; mv <= 0; mv += 0.01 {
		got, err := Thermocouple("K").Celsius(mv, 0)
		if d := polynomial(below, mv) - float64(got); err != nil || d < -0.025 || d > 0.045 {
			t.Errorf("at %.3f mV the published inverse is off by %.3f °C (%v)", mv, d, err)
		}
	}
}

// A copy of the table with +0.675e-10 for the fifth power below 0 °C is in circulation; the sign matters.
func TestTypeK_HasTheRightSign(t *testing.T) {
	if got := references["K"].sections[0].c[5]; got != -0.675090591730e-10 {
		t.Errorf("fifth power below 0 °C = %v, want -0.675090591730e-10", got)
	}
}

// What adding degrees at the cold junction costs (41.276 µV/°C, junction at 25 °C); computed from the published function.
func TestThermocouple_ColdJunctionIsAddedInMillivolts(t *testing.T) {
	const slope, junction = 41.276e-3, 25.0
	for _, row := range [][2]float64{{0, 0.8}, {50, -0.2}, {150, -0.5}, {200, -2.1}, {250, -3.2}} {
		hot, err := Thermocouple("K").Millivolts(thermal.Celsius(row[0]))
		if err != nil {
			t.Fatal(err)
		}
		measured := hot - 1.0002 // E(25 °C)
		if naive := junction + measured/slope; math.Abs(naive-row[0]-row[1]) > 0.06 {
			t.Errorf("adding degrees at %v °C is off by %.2f, want %.1f", row[0], naive-row[0], row[1])
		}
		got, err := Thermocouple("K").Celsius(measured, junction)
		if err != nil || math.Abs(float64(got)-row[0]) > 0.01 {
			t.Errorf("with the junction at 25 °C, %.4f mV = %v, %v; want %v °C", measured, got, err, row[0])
		}
		// The converter chip shows the naive value; going back behind it gives the truth.
		shown := junction + measured/slope
		if got, err := Thermocouple("K").Relinearized(thermal.Celsius(shown), junction); err != nil || math.Abs(float64(got)-row[0]) > 0.01 {
			t.Errorf("Relinearized(%.2f, 25) = %v, %v; want %v °C", shown, got, err, row[0])
		}
	}
}

func TestThermocouple_IsSteadyAndMeetsAtTheJoints(t *testing.T) {
	for tc, r := range references {
		for _, s := range r.sections[:len(r.sections)-1] {
			if step := tc.emf(r, s.hi+1e-9) - tc.emf(r, s.hi); math.Abs(step) > 1e-4 {
				t.Errorf("type %s jumps by %v mV at %v °C", tc, step, s.hi)
			}
		}
		last := tc.emf(r, r.lo)
		for x := r.lo + 0.5; x <= r.hi(); x += 0.5 {
			e := tc.emf(r, x)
			if e <= last {
				t.Fatalf("type %s does not rise at %v °C", tc, x)
			}
			last = e
		}
	}
}

func TestThermocouple_RefusesWithTheRange(t *testing.T) {
	for _, f := range []func() error{
		func() error { _, err := Thermocouple("K").Celsius(60, 0); return err },
		func() error { _, err := Thermocouple("K").Celsius(-7, 0); return err },
		func() error { _, err := Thermocouple("K").Celsius(math.NaN(), 0); return err },
	} {
		if err := f(); err == nil || !strings.Contains(err.Error(), "-6.458 … 54.886 mV") {
			t.Errorf("error %v does not name the range", err)
		}
	}
	if _, err := Thermocouple("K").Celsius(1, 2000); err == nil || !strings.Contains(err.Error(), "cold junction") {
		t.Errorf("cold junction at 2000 °C: %v", err)
	}
	if _, err := Thermocouple("Q").Millivolts(20); err == nil || !strings.Contains(err.Error(), "K, J, T, N or E") {
		t.Errorf("type Q: %v", err)
	}
}
