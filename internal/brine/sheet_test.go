package brine

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The same brine in five systems of units; by definition 1 lb = 0.45359237 kg, 1 oz = 1/16 lb, and a US gallon of water counts
// 8.33 lb (Handbook).
func TestSheet_UnitsGiveTheSameAnswer(t *testing.T) {
	base := Sheet{Meat: "9071.8474g", Water: "3778.4244421g", Salt: "453.59237g", Cure: "28.349523125g", CureNitrite: "6.25%", Method: "immersion-equilibrium"}
	want, err := base.Work()
	if err != nil {
		t.Fatal(err)
	}
	for _, change := range []func(*Sheet){
		func(s *Sheet) { s.Meat, s.Salt = "9.0718474kg", "0.45359237kg" },
		func(s *Sheet) { s.Meat, s.Salt, s.Cure = "20lb", "1lb", "0.0625lb" },
		func(s *Sheet) { s.Meat, s.Salt, s.Cure = "320oz", "16oz", "1oz" },
		func(s *Sheet) { s.Water = "1gal" },
		func(s *Sheet) { s.Water = "8.33 lb" },
	} {
		s := base
		change(&s)
		got, err := s.Work()
		if err != nil || math.Abs(got.IngoingPPM-want.IngoingPPM) > 1e-6 || math.Abs(*got.BrineSalt-*want.BrineSalt) > 1e-8 {
			t.Errorf("%+v: %v, %v, want %v ppm", s, got.IngoingPPM, err, want.IngoingPPM)
		}
	}
}

// "2 lb per 100 gal" is 200 ppm only if the pickle weighs 10 lb a gallon; counted as water at 8.33 lb the same 2 lb are 240 ppm. By
// weight the true pickle decides (9 CFR 424.21(c); the arithmetic is our own).
func TestSheet_TheGallonTrap(t *testing.T) {
	for _, test := range []struct {
		water, salt string
		want        float64
	}{{"100gal", "", 240.1}, {"833lb", "159lb", 200}} {
		s := Sheet{Meat: "100lb", Water: test.water, Salt: test.salt, Cure: "8lb", CureNitrite: "25%", Method: "pumped", PickUp: "10%"}
		if test.salt == "" { // the 2 lb of nitrite besides the water, not inside it
			s.Water, s.Cure = "825lb", "8lb"
		}
		got, err := s.Work()
		if err != nil || math.Abs(got.IngoingPPM-test.want) > .1 {
			t.Errorf("%s of water: %.2f ppm, %v, want %v", test.water, got.IngoingPPM, err, test.want)
		}
	}
}

// By hand: 4 kg of water and 0.3 kg of salt from 95 to 4 °C give (4 × 4.18 + 0.3 × 0.9) × 91 = 1546.1 kJ; each kg of ice takes
// 333.6 + 4.18 × 4 = 350.32 kJ: 4.413 kg. The brine is then 0.313125 / 8.727 = 3.59 % salt.
func TestSheet_TooMuchIceIsCaught(t *testing.T) {
	s := Sheet{Meat: "3kg", Water: "4kg", Salt: "300g", Cure: "14g", CureNitrite: "6.25%", Method: "immersion-equilibrium", CoolFrom: "95C", CoolTo: "4C"}
	got, err := s.Work()
	if err != nil || math.Abs(*got.IceToCoolKg-4.4134) > 1e-3 || math.Abs(*got.CooledSalt-3.588) > .01 || !strings.Contains(got.TooMuchIce, "too weak") {
		t.Errorf("%+v, %v", got, err)
	}
	s.Water, s.Ice, s.CoolFrom, s.CoolTo = "4kg", "2kg", "", ""
	if got, err = s.Work(); err != nil || got.TooMuchIce != "" {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestSheet_SaysWhatToEnter(t *testing.T) {
	good := Sheet{Meat: "3kg", Water: "4kg", Cure: "14g", CureNitrite: "6.25%", Method: "immersion-equilibrium"}
	for _, test := range []struct {
		spoil func(*Sheet)
		want  string
	}{
		{func(s *Sheet) { s.Meat = "" }, "meat is 0: weigh the meat"},
		{func(s *Sheet) { s.Meat = "a lot" }, `meat: mass "a lot": write a number with its unit`},
		{func(s *Sheet) { s.Salt = "-1kg" }, `salt: mass "-1kg" is negative`},
		{func(s *Sheet) { s.Meat = "3gal" }, "meat: "},
		{func(s *Sheet) { s.Water = "xgal" }, "US gallons"},
		{func(s *Sheet) { s.Water = "-1gal" }, "US gallons"},
		{func(s *Sheet) { s.CureNitrite = "6.25" }, "percentage with its sign"},
		{func(s *Sheet) { s.WantPPM = "much" }, "such as 150"},
		{func(s *Sheet) { s.WantPPM = "0" }, "above 0"},
		{func(s *Sheet) { s.WantPPM = "NaN" }, "such as 150"},
		{func(s *Sheet) { s.For = "0kg" }, "such as 5kg"},
		{func(s *Sheet) { s.CoolFrom = "95C" }, "go together"},
		{func(s *Sheet) { s.CoolFrom, s.CoolTo = "200C", "4C" }, "at most 105 °C"},
		{func(s *Sheet) { s.Thickness = "0mm" }, "measure the thickest place"},
		{func(s *Sheet) { s.Thickness = "2m" }, "between 0 and 500"},
		{func(s *Sheet) { s.ScaleResolution = "0g" }, "smallest step"},
		{func(s *Sheet) { s.Meat = strings.Repeat("9", 300) }, "too long"},
		{func(s *Sheet) { s.Spices = "a\x00b" }, "plain text"},
	} {
		s := good
		test.spoil(&s)
		if _, err := s.Work(); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("error %v, want it to say %q", err, test.want)
		}
	}
}

// Scaling a sheet changes no concentration, and the wanted dose is met whatever the scale.
func TestSheet_ScalingKeepsEveryConcentration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Sheet{Meat: "3kg", Water: "4kg", Ice: "1kg", Salt: "350g", Sugar: "90g", Cure: "19g", CureNitrite: "6.25%", Method: rapid.SampledFrom([]string{"immersion-equilibrium", "immersion-pickup", "pumped", "dry"}).Draw(t, "method"), PickUp: "8%"}
		if rapid.Bool().Draw(t, "solve") {
			s.WantPPM = "130"
		}
		a, err := s.Work()
		if err != nil {
			t.Fatal(err)
		}
		s.For = rapid.SampledFrom([]string{"50g", "1lb", "5kg", "900kg"}).Draw(t, "for")
		b, err := s.Work()
		if err != nil || math.Abs(a.IngoingPPM-b.IngoingPPM) > 1e-9*a.IngoingPPM || math.Abs(a.MeatSalt-b.MeatSalt) > 1e-9 {
			t.Fatalf("scaled %+v and %+v, %v", a, b, err)
		}
		if s.WantPPM != "" && math.Abs(b.IngoingPPM-130) > 1e-6 {
			t.Fatalf("solved for %v ppm", b.IngoingPPM)
		}
	})
}

// Whatever is typed is worked out or refused in words.
func FuzzSheet(f *testing.F) {
	f.Add("3kg", "1gal", "400g", "25g", "6.25%", "pumped", "10%", "150", "5kg", "50mm")
	f.Add("1e308kg", "-0kg", "NaNg", "Infoz", "%", "dry", "200%", "1e999", "0", "in")
	f.Fuzz(func(t *testing.T, meat, water, salt, cure, nitrite, method, pickup, want, scaled, thick string) {
		s := Sheet{Meat: meat, Water: water, Salt: salt, Cure: cure, CureNitrite: nitrite, Method: method, PickUp: pickup, WantPPM: want, For: scaled, Thickness: thick}
		a, err := s.Work()
		if err != nil && strings.TrimSpace(err.Error()) == "" {
			t.Errorf("%+v is refused without a word", s)
		}
		if err == nil && !(a.IngoingPPM >= 0) {
			t.Errorf("%+v gives %v ppm", s, a.IngoingPPM)
		}
	})
}
