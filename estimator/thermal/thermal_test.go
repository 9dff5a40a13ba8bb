package thermal

import (
	"fmt"
	"math"
	"testing"
)

func near(tb testing.TB, what string, got, want, tolerance float64) {
	tb.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		tb.Errorf("%s = %v, want %v ± %v", what, got, want, tolerance)
	}
}

// IAPWS R7-97(2012), tables 35 and 36.
func TestSaturation_IF97(t *testing.T) {
	for _, c := range []struct{ kelvin, mpa float64 }{{300, 0.353658941e-2}, {500, 0.263889776e1}, {600, 0.123443146e2}} {
		near(t, fmt.Sprint("p_s ", c.kelvin), SaturationPressure(FromKelvin(c.kelvin))/1e6, c.mpa, c.mpa*1e-8)
	}
	for _, c := range []struct{ mpa, kelvin float64 }{{0.1, 372.755919}, {1, 453.035632}, {10, 584.149488}} {
		near(t, fmt.Sprint("T_s ", c.mpa), SaturationTemperature(c.mpa*1e6).Kelvin(), c.kelvin, 1e-6)
	}
}

// 2017 ASHRAE Handbook, Fundamentals, ch. 1: saturation pressure within 300 ppm.
func TestSaturation_ASHRAE(t *testing.T) {
	for _, c := range []struct{ t, pascal float64 }{{5, 872.6}, {25, 3169.7}, {50, 12351.3}, {100, 101418}, {150, 476101.4}} {
		near(t, fmt.Sprint("p_ws ", c.t), SaturationPressure(Celsius(c.t)), c.pascal, c.pascal*300e-6)
	}
}

// 2017 ASHRAE Handbook, Fundamentals, ch. 1. The ideal-gas form leaves out real-gas enhancement: 0.5 to 2 %.
func TestHumidityRatio(t *testing.T) {
	for _, c := range []struct{ t, w float64 }{{5, 0.005425}, {25, 0.020173}, {50, 0.086863}, {85, 0.838105}} {
		near(t, fmt.Sprint("W_s ", c.t), HumidityRatio(SaturationPressure(Celsius(c.t)), 101325), c.w, c.w*0.02)
	}
	near(t, "W from p_w", HumidityRatio(3169.7, 95461), 0.0213603998, 1e-9)
	near(t, "W from wet bulb", HumidityRatioFromWetBulb(30, 25, 95461), 0.0192281274, 0.0192281274*3e-4)
	near(t, "W of example 1", HumidityRatioFromWetBulb(40, 20, 101325), 0.0065, 1e-4)
}

// Computed from eq. 33 with IF97: checks the arithmetic above 100 °C dry bulb, not the world.
func TestWetBulb_AbovePitTemperatures(t *testing.T) {
	dews := []float64{0, 10, 20, 30, 40, 50, 60, 70}
	for _, row := range []struct {
		dry float64
		wet [8]float64
	}{
		{93.3, [8]float64{31.4, 33.2, 36.2, 40.5, 46.4, 53.6, 61.8, 70.8}},
		{107.2, [8]float64{34.0, 35.6, 38.3, 42.3, 47.8, 54.6, 62.6, 71.3}},
		{148.9, [8]float64{40.2, 41.5, 43.6, 46.9, 51.5, 57.4, 64.5, 72.6}},
	} {
		for i, dew := range dews {
			near(t, fmt.Sprintf("wet bulb %v/%v", row.dry, dew), float64(WetBulb(Celsius(row.dry), Celsius(dew), 101325)), row.wet[i], 0.06)
		}
	}
}

// ISO 2533 rows (published; the closed form gives each to one in the last digit), boiling points computed with IF97.
func TestAltitude(t *testing.T) {
	for _, c := range []struct{ m, bar float64 }{{0, 1.01325}, {500, .9546}, {1000, .8988}, {1500, .8456}, {2000, .7950}, {2500, .7469}, {3000, .7012}} {
		near(t, fmt.Sprint("pressure ", c.m), StandardPressure(c.m)/1e5, c.bar, 1.2e-4)
	}
	for _, c := range []struct{ m, boil float64 }{{0, 99.97}, {500, 98.31}, {1000, 96.65}, {1609, 94.62}, {2000, 93.32}, {3000, 89.97}} {
		near(t, fmt.Sprint("boiling ", c.m), float64(BoilingPoint(c.m)), c.boil, 0.011)
	}
}

// Computed from the published Choi & Okos polynomials.
func TestComposition(t *testing.T) {
	for _, c := range []struct {
		name                         string
		x                            Composition
		t, cp, rho, along, across    float64
		diffusivityAlong, diffAcross float64
	}{
		{"lean beef", Composition{.75, .20, .03, 0, .02}, 10, 3.6181, 1059.12, 0.5082, 0.4143, 1.326, 1.081},
		{"lean beef", Composition{.75, .20, .03, 0, .02}, 70, 3.6508, 1038.97, 0.5758, 0.4796, 1.518, 1.264},
		{"brisket, fatty", Composition{.60, .17, .22, 0, .01}, 40, 3.3175, 1019.03, 0.4619, 0.3289, 1.366, 0.973},
		{"pork shoulder", Composition{.65, .17, .17, 0, .01}, 40, 3.4248, 1023.80, 0.4871, 0.3567, 1.389, 1.017},
		{"turkey", Composition{.74, .22, .03, 0, .01}, 40, 3.6188, 1050.75, 0.5416, 0.4437, 1.424, 1.167},
	} {
		m := c.x.At(Celsius(c.t))
		near(t, c.name+" cp", m.Cp/1000, c.cp, 6e-5)
		near(t, c.name+" rho", m.Rho, c.rho, 6e-3)
		near(t, c.name+" k along", m.KAlong, c.along, 6e-5)
		near(t, c.name+" k across", m.KAcross, c.across, 6e-5)
		near(t, c.name+" alpha along", m.DiffusivityAlong()*1e7, c.diffusivityAlong, 6e-4)
		near(t, c.name+" alpha across", m.DiffusivityAcross()*1e7, c.diffAcross, 6e-4)
	}
}

// Rows of ASHRAE Refrigeration ch. 9 for specific heat (from memory) at 20 °C.
func TestComposition_SpecificHeatFromMemory(t *testing.T) {
	near(t, "beef brisket", Composition{.5518, .1694, .2654, 0, .0080}.At(20).Cp/1000, 3.19, 0.006)
	near(t, "turkey", Composition{.7040, .2042, .0802, 0, .0088}.At(20).Cp/1000, 3.53, 0.006)
}

// One-term coefficients of the heat-transfer textbooks (published; attribution to Table 4-2 of Cengel from memory).
// Two printed entries differ from the exact value by one in the last digit, hence 1.1e-4.
func TestRoots_PublishedTable(t *testing.T) {
	for _, row := range []struct {
		bi float64
		v  [6]float64
	}{
		{0.1, [6]float64{0.3111, 1.0161, 0.4417, 1.0246, 0.5423, 1.0298}},
		{0.2, [6]float64{0.4328, 1.0311, 0.6170, 1.0483, 0.7593, 1.0592}},
		{0.5, [6]float64{0.6533, 1.0701, 0.9408, 1.1143, 1.1656, 1.1441}},
		{1, [6]float64{0.8603, 1.1191, 1.2558, 1.2071, 1.5708, 1.2732}},
		{2, [6]float64{1.0769, 1.1785, 1.5995, 1.3384, 2.0288, 1.4793}},
		{4, [6]float64{1.2646, 1.2287, 1.9081, 1.4698, 2.4556, 1.7202}},
		{5, [6]float64{1.3138, 1.2403, 1.9898, 1.5029, 2.5704, 1.7870}},
		{8, [6]float64{1.3978, 1.2570, 2.1286, 1.5526, 2.7654, 1.8920}},
		{10, [6]float64{1.4289, 1.2620, 2.1795, 1.5677, 2.8363, 1.9249}},
	} {
		for i, s := range []Shape{Wall, Cylinder, Sphere} {
			zeta := s.Roots(row.bi, 1)[0]
			near(t, fmt.Sprint("zeta ", s, " ", row.bi), zeta, row.v[2*i], 1.1e-4)
			near(t, fmt.Sprint("C ", s, " ", row.bi), s.Coefficient(zeta), row.v[2*i+1], 1.1e-4)
		}
	}
}

// Kreith, roast as a sphere: 1.5 kg, rho 1000, c 4000, k 0.5, h 18, 20 to 77 °C in an oven of 163 °C: Bi 2.56, 134 min
// with one term. The Fourier number is just under 0.2, where the whole series gives 1.5 min less.
func TestSphere_Roast(t *testing.T) {
	radius := math.Cbrt(1.5 / 1000 * 3 / (4 * math.Pi))
	biot := 18 * radius / 0.5
	near(t, "Bi", biot, 2.56, 0.01)
	perFourier := radius * radius * 1000 * 4000 / 0.5 / 60
	theta := (77.0 - 163) / (20 - 163)
	zeta := Sphere.Roots(biot, 1)[0]
	oneTerm := math.Log(Sphere.Coefficient(zeta)/theta) / (zeta * zeta)
	near(t, "minutes, one term", oneTerm*perFourier, 134, 0.5)
	near(t, "minutes, series", Sphere.HeatingTime(biot, theta)*perFourier, oneTerm*perFourier, 2)
}

// Computed with the series: minutes to 0.5 °C below a 60.5 °C bath from 5 °C, h 95, k 0.48, alpha 1.40e-7.
func TestHeatingTime_Bath(t *testing.T) {
	for _, c := range []struct {
		mm   float64
		want [3]float64
	}{{20, [3]float64{50, 23, 15}}, {50, [3]float64{213, 96, 60}}, {100, [3]float64{722, 324, 199}}} {
		for i, s := range []Shape{Wall, Cylinder, Sphere} {
			l := c.mm / 2000
			minutes := s.HeatingTime(95*l/0.48, 0.5/55.5) * l * l / 1.40e-7 / 60
			near(t, fmt.Sprint(s, " ", c.mm), minutes, c.want[i], 0.6)
		}
	}
}

// Incropera et al., ex. 5.4 (a wall): printed 42.9 °C with rounded roots; the exact root gives 43.0 °C.
func ExampleShape_OneTerm() {
	biot, fourier := 500*0.040/63.9, 18.8e-6*480/(0.040*0.040)
	theta := Wall.OneTerm(biot, fourier, 0)
	fmt.Printf("%.1f °C\n", 60+theta*(-20-60))
	// Output: 43.0 °C
}

func TestOneTerm_AgreesWithSeriesAboveFourierTwoTenths(t *testing.T) {
	for _, s := range []Shape{Wall, Cylinder, Sphere} {
		for _, fo := range []float64{0.2, 0.5, 1} {
			near(t, fmt.Sprint(s, fo), s.OneTerm(3, fo, 0), s.Series(3, fo, 0), 0.02)
		}
	}
}

func TestUnits(t *testing.T) {
	near(t, "212 F", float64(FromFahrenheit(212)), 100, 1e-12)
	near(t, "100 °C", Celsius(100).Fahrenheit(), 212, 1e-12)
	if Celsius(math.NaN()).Finite() || Celsius(-300).Finite() || !Celsius(-40).Finite() {
		t.Error("Finite accepts what is no temperature, or refuses one")
	}
}
