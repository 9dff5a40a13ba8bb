package brine

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

const pound, ounce = 0.45359237, 0.45359237 / 16

// Worked values from the formulas of USDA FSIS Directive 7620.3 (Handbook), and the unit rules of 9 CFR 424.21(c).
func TestCompute_PublishedWorkedValues(t *testing.T) {
	for _, test := range []struct {
		name   string
		recipe Recipe
		want   float64
		within float64 // of the printed digits
	}{
		{"32 g of 5.88 % cure in 1266 g brine, 10 %: 148.6", Recipe{Meat: 1.2, Water: 1.234, Cure: 0.032, CureNitrite: .0588, Method: Pumped, PickUp: .1}, 148.6256, 5e-5},
		{"3 oz of 6.25 % per gallon, by the water alone: 140.7", perGallon(3), 140.7, .05},
		{"4 oz, same: 187.6", perGallon(4), 187.6, .05},
		{"0.06 lb NaNO2 in 100 lb brine, 20 %: 120", Recipe{Meat: 10, Water: 100*pound - .24*pound, Cure: .24 * pound, CureNitrite: .25, Method: Pumped, PickUp: .2}, 120, 1e-9},
		{"0.6 oz of 6.25 % in 67 oz, 10 %: 56", Recipe{Meat: 1, Water: 66.4 * ounce, Cure: .6 * ounce, CureNitrite: .0625, Method: PickUp, PickUp: .1}, 56, .05},
		{"1/4 oz NaNO2 per 100 lb: 156", Recipe{Meat: 100 * pound, Cure: ounce, CureNitrite: .25, Method: Dry, Product: Comminuted}, 156, .3},
		{"1 oz NaNO2 per 100 lb: 625", Recipe{Meat: 100 * pound, Cure: 4 * ounce, CureNitrite: .25, Method: Dry}, 625, 1e-9},
		{"2 lb NaNO2 in 1000 lb pickle at 10 %: 200", Recipe{Meat: 10, Water: 992 * pound, Cure: 8 * pound, CureNitrite: .25, Method: Pumped, PickUp: .1}, 200, 1e-9},
	} {
		if test.recipe.Product == "" {
			test.recipe.Product = WholeMuscle
		}
		got, err := Compute(test.recipe)
		if err != nil || math.Abs(got.NitritePPM-test.want) > test.within {
			t.Errorf("%s: %.4f, %v, want %v", test.name, got.NitritePPM, err, test.want)
		}
	}
}

// perGallon counts the water's weight alone, as the printed values do; the true brine is heavier and gives less.
func perGallon(ounces float64) Recipe {
	return Recipe{Meat: 1, Water: 8.33*pound - ounces*ounce, Cure: ounces * ounce, CureNitrite: .0625, Method: Pumped, PickUp: .1}
}

// The first brine of the table: 140.1184 g salt in 1266 g is 11.0678 %; 1200 g of meat takes up 120 g of it, 13.28 g salt.
func TestCompute_SaltOfTheFirstBrine(t *testing.T) {
	r := Recipe{Meat: 1.2, Water: 1.266 - .1401184, Salt: .1401184, Method: Pumped, PickUp: .1, Product: WholeMuscle}
	got, err := Compute(r)
	if err != nil || math.Abs(got.BrineSalt-11.0678) > 5e-5 || math.Abs(got.MeatSalt/100*1320-13.28) > .005 {
		t.Errorf("brine %.4f %%, meat %.4f %%, %v", got.BrineSalt, got.MeatSalt, err)
	}
	// 60 salometer degrees are 15.8 % salt by weight (from memory).
	r = Recipe{Meat: 1, Water: .842, Salt: .158, Method: Equilibrium, Product: WholeMuscle}
	if got, err = Compute(r); err != nil || math.Abs(got.Salometer-60) > .5 {
		t.Errorf("15.8 %% is %.1f degrees, %v, want 60", got.Salometer, err)
	}
}

func TestCompute_OverTheLimitIsAResult(t *testing.T) {
	got, err := Compute(Recipe{Meat: 1, Water: 1, Cure: .01, CureNitrite: .0625, Method: Equilibrium, Product: Bacon})
	if err != nil || got.Within || got.LimitPPM != 120 || !strings.Contains(got.Notes[0], "over the limit") {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestValidate_SaysWhatToEnter(t *testing.T) {
	good := Recipe{Meat: 1, Water: 1, Cure: .003, CureNitrite: .0625, Method: Equilibrium, Product: WholeMuscle}
	for _, test := range []struct {
		break_ func(*Recipe)
		want   string
	}{
		{func(r *Recipe) { r.Meat = 0 }, "weigh the meat"},
		{func(r *Recipe) { r.Salt = -1 }, "salt -1 kg is not a weight"},
		{func(r *Recipe) { r.CureNitrite = 6.25 }, "printed on the packet"},
		{func(r *Recipe) { r.Method = PickUp; r.PickUp = 2 }, "not between 0 and 100"},
		{func(r *Recipe) { r.Water = 0 }, "needs water or ice"},
		{func(r *Recipe) { r.Product = "ham" }, `product "ham" is not known`},
		{func(r *Recipe) { r.Water = math.NaN() }, "not a weight"},
	} {
		r := good
		test.break_(&r)
		if _, err := Compute(r); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("error %v, want it to say %q", err, test.want)
		}
	}
}

func TestSolveCure_MeetsTheWantedDose(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Recipe{Meat: rapid.Float64Range(.1, 100).Draw(t, "meat"), Water: rapid.Float64Range(.1, 100).Draw(t, "water"),
			Salt: rapid.Float64Range(0, 5).Draw(t, "salt"), CureNitrite: rapid.Float64Range(.006, .1).Draw(t, "strength"),
			Method: rapid.SampledFrom([]Method{Equilibrium, PickUp, Pumped, Dry}).Draw(t, "method"), PickUp: .1, Product: WholeMuscle}
		want := rapid.Float64Range(1, 400).Draw(t, "ppm")
		var err error
		if r.Cure, err = SolveCure(r, want); err != nil {
			t.Fatal(err)
		}
		got, err := Compute(r)
		if err != nil || math.Abs(got.NitritePPM-want) > 1e-6*want {
			t.Fatalf("solved %v kg gives %v ppm, %v, want %v", r.Cure, got.NitritePPM, err, want)
		}
	})
}

func TestCompute_ScalingChangesNoConcentration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.Float64Range(.01, 50).Draw(t, "scale")
		r := Recipe{Meat: 3, Water: 4, Ice: 2, Salt: .4, Sugar: .2, Cure: .025, CureNitrite: .0625, Method: Equilibrium, Product: WholeMuscle}
		a, err := Compute(r)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range []*float64{&r.Meat, &r.Water, &r.Ice, &r.Salt, &r.Sugar, &r.Cure} {
			*m *= k
		}
		b, err := Compute(r)
		if err != nil || math.Abs(a.NitritePPM-b.NitritePPM) > 1e-9*a.NitritePPM || math.Abs(a.BrineSalt-b.BrineSalt) > 1e-9 {
			t.Fatalf("scaled by %v: %v and %v, %v", k, a, b, err)
		}
	})
}

func TestCheckScale_RefusesWhatItCannotWeigh(t *testing.T) {
	for _, test := range []struct {
		cure, division float64
		refused        bool
	}{{.020, .001, false}, {.0199, .001, true}, {.0199, .0001, false}, {0, .001, false}} {
		if err := CheckScale(test.cure, test.division); (err != nil) != test.refused {
			t.Errorf("%v kg on a %v kg scale: %v", test.cure, test.division, err)
		}
	}
}

// By hand: 4 kg of water from 100 to 4 °C gives 4 × 4.18 × 96 = 1605.1 kJ; each kg of ice takes 333.6 + 4.18 × 4 = 350.3 kJ.
func TestIceToCool_HeatBalanceByHand(t *testing.T) {
	got, err := IceToCool(Recipe{Water: 4}, 100, 4, 0)
	if want := 1605.12 / 350.32; err != nil || math.Abs(got-want) > 1e-6 {
		t.Errorf("%v kg, %v, want %v", got, err, want)
	}
}
