package convert

import (
	"math"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	"pgregory.net/rapid"

	"stallkeeper/estimator/thermal"
)

var specs = map[string]Spec{
	"abc":     {Kind: "ntc", A: 1.12924e-3, B: 2.34108e-4, C: 0.87755e-7, DividerOhms: 1000, ReferenceVolts: 3.3, FullScale: 4095},
	"ratio":   {Kind: "ntc", A: 3.3539438e-3, B: 2.5646095e-4, C: 2.5158166e-6, D: 1.0503069e-7, R25: 1e5, DividerOhms: 1e4, ReferenceVolts: 3.3, FullScale: 4095, SensorHigh: true},
	"beta":    {Kind: "ntc", Beta: 3950, R25: 1e5, DividerOhms: 1e4, ReferenceVolts: 3.3, FullScale: 1023},
	"points":  {Kind: "ntc", Points: []Point{{0, 32650.9}, {25, 10000}, {100, 678.4}}, DividerOhms: 1000, ReferenceVolts: 5, FullScale: 1023},
	"pt1000":  {Kind: "pt1000", DividerOhms: 1000, ReferenceVolts: 3.3, FullScale: 32767, LeadOhms: 0.4},
	"type-k":  {Kind: "type-k", ColdJunctionC: 24, Gain: 100, ReferenceVolts: 3.3, FullScale: 4095},
	"type-t":  {Kind: "type-t", ColdJunctionC: 24, ReferenceVolts: 0.256, FullScale: 32767},
	"chip":    {Kind: "max31855", Relinearize: true, ColdJunctionC: 24},
	"max6675": {Kind: "max6675"},
	"ds18b20": {Kind: "ds18b20"},
	"linear":  {Kind: "linear", Slope: 100, Offset: -50},
	"checked": {Kind: "pt100", CorrectionSlope: 1.01, CorrectionK: -0.4, DividerOhms: 100, ReferenceVolts: 1, FullScale: 1e6},
}

// There and back for each kind and quantity, and never a value that is not finite.
func TestSpec_RoundTrips(t *testing.T) {
	for name, s := range specs {
		if err := s.Validate(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		rapid.Check(t, func(t *rapid.T) {
			c := thermal.Celsius(rapid.Float64Range(0, 120).Draw(t, "celsius"))
			for _, q := range []Quantity{Ohms, Volts, Millivolts, Raw} {
				v, err := s.Value(q, c)
				if err != nil {
					continue // a quantity that the kind does not have
				}
				got, err := s.Celsius(q, v)
				within := 1e-6
				switch s.Kind { // half of the chip's step
				case "ds18b20":
					within = 0.032
				case "max31855", "max6675":
					within = 0.14
				}
				if err != nil || math.Abs(float64(got-c)) > within {
					t.Fatalf("%s: %v °C = %v %s = %v °C, %v", name, float64(c), v, q, float64(got), err)
				}
			}
		})
	}
}

// Hotter never reads as colder: more ohms of a thermistor are colder, more of anything else is hotter.
func TestSpec_IsMonotonic(t *testing.T) {
	for name, q := range map[string]Quantity{"abc": Ohms, "ratio": Ohms, "beta": Ohms, "points": Ohms, "pt1000": Ohms, "type-k": Millivolts, "type-t": Millivolts, "max6675": Raw} {
		s := specs[name]
		sign := 1.0
		if s.Kind == "ntc" {
			sign = -1
		}
		rapid.Check(t, func(t *rapid.T) {
			lo := rapid.Float64Range(0, 3000).Draw(t, "lo")
			hi := lo + rapid.Float64Range(0, 3000).Draw(t, "step")
			if q == Raw {
				lo, hi = 8*math.Floor(lo), 8*math.Floor(hi)
			}
			a, err := s.Celsius(q, lo)
			if err != nil {
				return
			}
			b, err := s.Celsius(q, hi)
			if err == nil && sign*float64(b-a) < 0 {
				t.Fatalf("%s: %v → %v but %v → %v", name, lo, a, hi, b)
			}
		})
	}
}

func TestSpec_ChainsOfTheDivider(t *testing.T) {
	s := specs["abc"] // 1000 ohms below 3.3 V, the sensor at ground
	for _, q := range []struct {
		q Quantity
		v float64
	}{{Ohms, 678.4}, {Volts, 3.3 * 678.4 / 1678.4}, {Millivolts, 3300 * 678.4 / 1678.4}, {Raw, 4095 * 678.4 / 1678.4}} {
		if got, err := s.Celsius(q.q, q.v); err != nil || math.Abs(float64(got)-100) > 0.01 {
			t.Errorf("%v %s = %v, %v; want 100 °C", q.v, q.q, got, err)
		}
	}
	s.SensorHigh = true
	if got, err := s.Celsius(Volts, 3.3*1000/1678.4); err != nil || math.Abs(float64(got)-100) > 0.01 {
		t.Errorf("sensor at the reference = %v, %v; want 100 °C", got, err)
	}
	for _, q := range []struct {
		q    Quantity
		v    float64
		says string
	}{
		{Volts, 0, "0 V is not between 0 and 3.3, the ends of the divider (open circuit)"},
		{Volts, 3.3, "3.3 V is not between 0 and 3.3"},
		{Millivolts, -1000, "-1 V is not between 0 and 3.3"},
		{Volts, 4, "4 V is more than there can be with reference_volts = 3.3: correct reference_volts"},
		{Raw, 4095, "4095 counts is not between 0 and 4095, the ends of the divider (short circuit)"},
		{Raw, 26000, "26000 counts is more than there can be with full_scale = 4095: correct full_scale"}, // a 16-bit converter
	} {
		if _, err := s.Celsius(q.q, q.v); err == nil || !strings.Contains(err.Error(), q.says) {
			t.Errorf("%v %s: error %v, want it to say %q", q.v, q.q, err, q.says)
		}
	}
}

func TestSpec_SaysWhatIsMissing(t *testing.T) {
	for _, test := range []struct {
		s    Spec
		want string
	}{
		{Spec{}, "use one of ntc, pt100"},
		{Spec{Kind: "ntc"}, "exactly one of"},
		{Spec{Kind: "ntc", Beta: 3950}, "reference resistance"},
		{Spec{Kind: "ntc", Beta: 3950, R25: 1e4, Points: []Point{{0, 2}, {25, 1}}}, "exactly one of"},
		{Spec{Kind: "pt100", Gain: -1}, "gain is negative"},
		{Spec{Kind: "pt100", Relinearize: true}, "belong to kind max31855"},
		{Spec{Kind: "max31855", Couple: "X"}, "K, J, T, N or E"},
		{Spec{Kind: "linear"}, "needs slope"},
		{Spec{Kind: "pt100", CorrectionSlope: 2}, "0.8 … 1.25"},
		{Spec{Kind: "pt100", CorrectionK: 90}, "more than 50 K"},
		{Spec{Kind: "type-k", ColdJunctionC: 5000}, "cold_junction_c"},
		{Spec{Kind: "pt100", LeadOhms: math.NaN()}, "not finite"},
	} {
		if err := test.s.Validate(); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%+v: error %v, want it to say %q", test.s, err, test.want)
		}
	}
	for _, test := range []struct {
		s    Spec
		q    Quantity
		v    float64
		want string
	}{
		{Spec{Kind: "pt100"}, Volts, 1, "needs divider_ohms and reference_volts"},
		{Spec{Kind: "pt100"}, Raw, 1, "needs divider_ohms and full_scale"},
		{Spec{Kind: "pt100"}, "furlongs", 1, "is not known"},
		{Spec{Kind: "type-k"}, Ohms, 1, "not ohms"},
		{Spec{Kind: "type-k"}, Raw, 1, "needs reference_volts and full_scale"},
		{Spec{Kind: "ds18b20"}, Volts, 1, "takes raw"},
		{Spec{Kind: "ds18b20"}, Raw, 1.5, "not a whole number"},
		{Spec{Kind: "linear", Slope: 1}, Ohms, 1, "not ohms"},
		{Spec{Kind: "linear", Slope: 1}, Volts, -1000, "below absolute zero"},
		{Spec{Kind: "pt100"}, Ohms, math.NaN(), "not finite"},
	} {
		if _, err := test.s.Celsius(test.q, test.v); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%+v %v %v: error %v, want it to say %q", test.s, test.q, test.v, err, test.want)
		}
	}
}

func TestSpec_ReadsFromTOML(t *testing.T) {
	var s Spec
	meta, err := toml.Decode(`
kind = "ntc"
points = [{ celsius = 0.0, ohms = 32650.9 }, { celsius = 25.0, ohms = 10000.0 }, { celsius = 100.0, ohms = 678.4 }]
divider_ohms = 1000.0
full_scale = 4095.0
`, &s)
	if err != nil || len(meta.Undecoded()) > 0 {
		t.Fatal(err, meta.Undecoded())
	}
	if got, err := s.Celsius(Raw, 4095*678.4/1678.4); err != nil || math.Abs(float64(got)-100) > 0.01 {
		t.Errorf("= %v, %v; want 100 °C", got, err)
	}
	if w := (Spec{Kind: "ntc", Beta: 3950, R25: 1e4}).Warnings(); len(w) != 1 || !strings.Contains(w[0], "third point") {
		t.Errorf("beta alone: warnings %q", w)
	}
}

func FuzzSpec(f *testing.F) {
	f.Add(uint8(0), uint8(0), 1.12924e-3, 2.34108e-4, 0.87755e-7, 0.0, 678.4)
	f.Add(uint8(3), uint8(2), 0.0, 0.0, 0.0, 25.0, 4.096)
	f.Add(uint8(8), uint8(3), 0.0, 0.0, 0.0, 0.0, float64(0x07D0))
	f.Add(uint8(9), uint8(3), 0.0, 0.0, 0.0, 0.0, float64(0x01501790))
	f.Fuzz(func(t *testing.T, kind, quantity uint8, a, b, c, d, v float64) {
		kinds := Kinds()
		s := Spec{Kind: kinds[int(kind)%len(kinds)], A: a, B: b, C: c, D: d, R25: math.Abs(d), ColdJunctionC: d, DividerOhms: math.Abs(a), ReferenceVolts: math.Abs(b),
			FullScale: math.Abs(c), Slope: a, Offset: b}
		q := []Quantity{Ohms, Volts, Millivolts, Raw, "other"}[quantity%5]
		got, err := s.Celsius(q, v)
		if err == nil && !got.Finite() {
			t.Errorf("%+v: %v %s = %v without an error", s, v, q, float64(got))
		}
		if back, err := s.Value(q, thermal.Celsius(v)); err == nil && (math.IsNaN(back) || math.IsInf(back, 0)) {
			t.Errorf("%+v: %v °C = %v %s without an error", s, v, back, q)
		}
	})
}
