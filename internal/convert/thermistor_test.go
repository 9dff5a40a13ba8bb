package convert

import (
	"math"
	"strings"
	"testing"

	"stallkeeper/estimator/thermal"
)

// The makers of these curves are not identified: all rows are from memory.
var (
	// 10k, β about 3976: rows of its table.
	tenKRows = [][2]float64{{-40, 336103.2}, {-30, 176804.8}, {-20, 97006.9}, {-10, 55303.9}, {-5, 42316.7}, {0, 32650.9}, {1, 31030.8}}
	// The same, computed from A, B, C.
	tenKComputed = [][2]float64{{25, 9999.9}, {50, 3601.1}, {60, 2487.1}, {70, 1751.6}, {75, 1480.1}, {80, 1256.1}, {90, 915.9}, {93, 835.7},
		{100, 678.4}, {121, 378.2}, {150, 184.5}}
	// A second table of the same family.
	tenKSecond = [][2]float64{{-50, 667828}, {-40, 335671}, {-31, 188026}}
	// Ratio curve R/R25, β(25/85) 3977.
	ratioRows = [][2]float64{{-40, 33.36}, {-20, 9.681}, {0, 3.264}, {25, 1}, {50, .3601}, {60, .2487}, {65, .2082}, {70, .1751}, {75, .1480},
		{80, .1256}, {90, .09155}, {95, .07864}, {100, .06781}, {110, .05095}, {120, .03881}, {125, .03403}, {130, .02993}, {135, .02640}}
	// High-ohm ratio curve, nominal β(0/50) 4850.
	highRows = [][2]float64{{0, 4.323}, {25, 1}, {50, .2762}, {60, .1725}, {70, .1102}, {80, .07191}, {90, .04786}, {100, .03244}, {120, .01569},
		{150, .005916}, {200, .00149}}
)

func mustThermistor(tb testing.TB) func(Thermistor, error) Thermistor {
	return func(th Thermistor, err error) Thermistor {
		tb.Helper()
		if err != nil {
			tb.Fatal(err)
		}
		return th
	}
}

func checkRows(t *testing.T, name string, s Resistive, rows [][2]float64, scale, within float64) {
	t.Helper()
	for _, row := range rows {
		got, err := s.Celsius(row[1] * scale)
		if err != nil || math.Abs(float64(got)-row[0]) > within {
			t.Errorf("%s at %v ohms = %.4f °C, %v; want %v within %v", name, row[1]*scale, float64(got), err, row[0], within)
		}
		ohms, err := s.Ohms(thermal.Celsius(row[0]))
		if err != nil {
			t.Errorf("%s at %v °C: %v", name, row[0], err)
			continue
		}
		if back, err := s.Celsius(ohms); err != nil || math.Abs(float64(back)-row[0]) > 1e-6 {
			t.Errorf("%s: %v °C there and back = %v, %v", name, row[0], float64(back), err)
		}
		// One part in a hundred of resistance is about 0.3 °C: the other way round within the same temperature.
		if math.Abs(ohms/(row[1]*scale)-1) > 0.1*within {
			t.Errorf("%s at %v °C = %.6g ohms, want %v", name, row[0], ohms, row[1]*scale)
		}
	}
}

func TestSteinhartHart_ReproducesTheTable(t *testing.T) {
	for _, abc := range [][3]float64{{1.12924e-3, 2.34108e-4, 0.87755e-7}, {1.129148e-3, 2.34125e-4, 8.76741e-8}} {
		th := mustThermistor(t)(SteinhartHart(abc[0], abc[1], abc[2]))
		checkRows(t, "10k", th, tenKRows, 1, 0.003) // both triples are within 0.003 °C of the table
		checkRows(t, "10k second table", th, tenKSecond, 1, 0.035)
	}
	th := mustThermistor(t)(SteinhartHart(1.12924e-3, 2.34108e-4, 0.87755e-7))
	checkRows(t, "10k computed", th, tenKComputed, 1, 0.02) // four digits: 0.05 ohm at 150 °C is 0.01 °C
	for _, row := range tenKComputed {
		if ohms, err := th.Ohms(thermal.Celsius(row[0])); err != nil || math.Abs(ohms-row[1]) > 0.051 {
			t.Errorf("10k at %v °C = %.3f ohms, %v; want %v", row[0], ohms, err, row[1])
		}
	}
}

func TestFourTerm_ReproducesTheRatioCurve(t *testing.T) {
	for _, r25 := range []float64{1, 10e3, 100e3} {
		th := mustThermistor(t)(FourTerm(r25, 3.3539438e-3, 2.5646095e-4, 2.5158166e-6, 1.0503069e-7))
		checkRows(t, "ratio", th, ratioRows, r25, 0.0145) // the fit's worst error is 0.014 °C
		// The maker's inverse is a formula of its own: ln(R/R25) by powers of 1/T.
		for c := -40.0; c <= 135; c += 5 {
			k := c + 273.15
			want := -1.4195756e1 + 4.4074785e3/k - 5.1658730e3/(k*k) - 1.4017368e7/(k*k*k)
			if ohms, err := th.Ohms(thermal.Celsius(c)); err != nil || math.Abs(math.Log(ohms/r25)-want) > 0.001 {
				t.Errorf("ratio at %v °C: ln = %.5f, %v; the maker's inverse gives %.5f", c, math.Log(ohms/r25), err, want)
			}
		}
	}
}

// What β alone costs on the ratio curve, with β 3950; computed from the table.
func TestBeta_CostsDegreesAtPitTemperature(t *testing.T) {
	th := mustThermistor(t)(Beta(10e3, 25, 3950))
	want := map[float64]float64{0: 0.56, 50: -0.09, 70: 0.15, 80: 0.36, 90: 0.65, 100: 1.00, 120: 1.9, 135: 2.7}
	for _, row := range ratioRows {
		off, ok := want[row[0]]
		if !ok {
			continue
		}
		if got, err := th.Celsius(10e3 * row[1]); err != nil || math.Abs(float64(got)-row[0]-off) > 0.05 {
			t.Errorf("β alone at %v °C is off by %+.2f (%v), want %+.2f", row[0], float64(got)-row[0], err, off)
		}
	}
}

// The worked example of an application note on standardised R/T characteristics: a 4.7k part of curve 1006, 4.4 %/K at
// 5 °C, between its rows at 5 and 7 °C. Published; recomputed.
func TestBeta_InterpolatesAsTheApplicationNoteDoes(t *testing.T) {
	const kelvin5 = 278.15
	th := mustThermistor(t)(Beta(2.2739*4700, 5, 0.044*kelvin5*kelvin5))
	if got, err := th.Ohms(7); err != nil || math.Abs(got-9793.2) > 0.1 {
		t.Errorf("R(7 °C) = %.2f, %v; want 9793.2 ohms", got, err)
	}
}

func TestFit_ThreePointsHoldOverTheRange(t *testing.T) {
	th := mustThermistor(t)(Fit([]Point{{0, 32650.9}, {25, 10000}, {100, 678.4}}))
	checkRows(t, "three points", th, tenKComputed, 1, 0.05)
	checkRows(t, "three points", th, tenKRows[2:], 1, 0.05)
	ratio := mustThermistor(t)(Fit([]Point{{0, 3.264e4}, {60, 2487}, {120, 388.1}}))
	checkRows(t, "three points of the ratio curve", ratio, ratioRows[2:], 1e4, 0.1)
	high := mustThermistor(t)(Fit([]Point{{25, 1e5}, {100, 3244}, {200, 149}}))
	checkRows(t, "three points of the high-ohm curve", high, highRows, 1e5, 0.5)
	four := mustThermistor(t)(Fit([]Point{{100, 3244}, {0, 432300}, {50, 27620}, {150, 591.6}}))
	checkRows(t, "four points of the high-ohm curve", four, highRows[:10], 1e5, 0.5)
	two := mustThermistor(t)(Fit([]Point{{25, 10000}, {100, 678.4}}))
	checkRows(t, "two points", two, [][2]float64{{25, 10000}, {100, 678.4}}, 1, 1e-6)
}

func TestFit_RefusesWhatIsNoThermistor(t *testing.T) {
	for _, test := range []struct {
		points []Point
		want   string
	}{
		{[]Point{{25, 10000}}, "2 to 4"},
		{[]Point{{0, 5}, {25, 4}, {50, 3}, {75, 2}, {100, 1}}, "use a table"},
		{[]Point{{0, 10000}, {25, 32650.9}, {100, 678.4}}, "fewer ohms"},
		{[]Point{{25, 10000}, {25, 9000}}, "1 °C or more apart"},
		{[]Point{{25, 10000}, {900, 1}}, "-80 … 350"},
		{[]Point{{0, math.NaN()}, {25, 1}}, "above 0"},
		{[]Point{{0, 32000}, {1, 10}, {100, 9}}, "measure them again"},
	} {
		if _, err := Fit(test.points); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("Fit(%v): error %v, want it to say %q", test.points, err, test.want)
		}
	}
}

func TestTable_GivesItsRowsAndStopsAtTheEnds(t *testing.T) {
	var rows []Point
	for _, r := range ratioRows {
		rows = append(rows, Point{thermal.Celsius(r[0]), 1e4 * r[1]})
	}
	table, err := NewTable(rows)
	if err != nil {
		t.Fatal(err)
	}
	checkRows(t, "table", table, ratioRows, 1e4, 1e-9)
	th := mustThermistor(t)(FourTerm(1e4, 3.3539438e-3, 2.5646095e-4, 2.5158166e-6, 1.0503069e-7))
	for c := thermal.Celsius(-40); c <= 135; c++ {
		ohms, err := th.Ohms(c)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := table.Celsius(ohms); err == nil && math.Abs(float64(got-c)) > 0.08 { // rows 25 K apart and less
			t.Errorf("between the rows, %.6g ohms = %.3f, want %v", ohms, float64(got), c)
		}
	}
	for _, ohms := range []float64{333601, 263, math.NaN(), -1} {
		if _, err := table.Celsius(ohms); err == nil || !strings.Contains(err.Error(), "264 … 333600 ohms (135 to -40 °C)") {
			t.Errorf("Celsius(%v): error %v does not name the range", ohms, err)
		}
	}
	if _, err := table.Ohms(140); err == nil || !strings.Contains(err.Error(), "-40 … 135") {
		t.Errorf("Ohms(140): %v", err)
	}
}

func TestSteinhartHart_RefusesMistypedCoefficients(t *testing.T) {
	for _, abc := range [][3]float64{{0, 0, 0}, {1.12924, 2.34108e-4, 0.87755e-7}, {2.34108e-4, 1.12924e-3, 0.87755e-7}, {math.NaN(), 1, 1}, {1e-3, -2e-4, 0}} {
		if _, err := SteinhartHart(abc[0], abc[1], abc[2]); err == nil || !strings.Contains(err.Error(), "no thermistor's") {
			t.Errorf("SteinhartHart(%v): error %v", abc, err)
		}
	}
	th := mustThermistor(t)(SteinhartHart(1.12924e-3, 2.34108e-4, 0.87755e-7))
	for _, ohms := range []float64{0, -1, math.NaN(), math.Inf(1), 0.5, 1e9} {
		if _, err := th.Celsius(ohms); err == nil || !strings.Contains(err.Error(), "ohms (") {
			t.Errorf("Celsius(%v): error %v does not name the range", ohms, err)
		}
	}
}
