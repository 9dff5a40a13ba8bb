package brine

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func rule(t *testing.T, c CureTime, name string) CureRule {
	t.Helper()
	for _, r := range c.Rules {
		if strings.Contains(r.Name, name) {
			return r
		}
	}
	t.Fatalf("no rule %q in %v", name, c.Rules)
	return CureRule{}
}

func mustCure(t *testing.T, p CurePiece) CureTime {
	t.Helper()
	c, err := EstimateCure(p)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A USDA home-pork bulletin (from memory) prints 24 days for 6 lb and 60 days for 15 lb in sweet pickle; Virginia
// Cooperative Extension 458-223 (from memory) 1.5 days a pound and 7 days an inch of cushion for dry-cured hams.
func TestEstimateCure_PrintedRules(t *testing.T) {
	for _, test := range []struct {
		piece CurePiece
		rule  string
		high  float64
	}{
		{CurePiece{MassKg: 6 * pound, ThicknessMM: 80}, "a pound", 24},
		{CurePiece{MassKg: 15 * pound, ThicknessMM: 80}, "a pound", 60},
		{CurePiece{MassKg: 10 * pound, ThicknessMM: 127, Dry: true}, "a pound", 15},
		{CurePiece{ThicknessMM: 127, Dry: true}, "7 days an inch", 35},
	} {
		if got := rule(t, mustCure(t, test.piece), test.rule); math.Abs(got.High-test.high) > 1e-6 {
			t.Errorf("%+v: %s gives %v days, want %v", test.piece, got.Name, got.High, test.high)
		}
	}
}

// Half of 2.5 in and D 2e-10 m²/s are 15 days by L²/(4 D), as an order of magnitude (from memory; practice says 17). The
// middle of the printed range of D must lie between the rule's ends.
func TestEstimateCure_SaltDiffusionOrderOfMagnitude(t *testing.T) {
	got := rule(t, mustCure(t, CurePiece{ThicknessMM: 63.5}), "diffusion")
	if usual := (CurePiece{ThicknessMM: 63.5}).diffusion(saltUsual); math.Abs(usual-15) > .5 {
		t.Errorf("%v days at 2e-10, want about 15", usual)
	}
	if !(got.Low < 15 && got.High > 17) {
		t.Errorf("the range %v to %v days leaves out 15 or 17", got.Low, got.High)
	}
}

// Common practice, no source: five days at least, ten usual, fourteen still good. 50 mm at 7 days an inch are 13.8.
func TestEstimateCure_TrimmedFlat(t *testing.T) {
	for _, test := range []struct {
		mm   float64
		want float64
	}{{0, 10}, {30, 10}, {50, 14}, {60, 17}} {
		if got := mustCure(t, CurePiece{ThicknessMM: test.mm, MassKg: 2.5, Flat: true}); got.Default != test.want {
			t.Errorf("%v mm: %v days, want %v", test.mm, got.Default, test.want)
		}
	}
	c := mustCure(t, CurePiece{ThicknessMM: 50, MassKg: 2.5, Flat: true})
	said := c.Judge(7)
	for _, want := range []string{"satisfies practice for a trimmed flat (5 to 14 days), a quarter inch", "falls short of 7 days an inch (14 days)", "the default is 14 days"} {
		if !strings.Contains(said, want) {
			t.Errorf("Judge(7) = %q, want it to say %q", said, want)
		}
	}
	if c.TooShort(5) || !c.TooShort(4) {
		t.Error("five days are the least practice allows")
	}
}

func TestEstimateCure_AWeakerBrineTakesLonger(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mm := rapid.Float64Range(10, 200).Draw(t, "mm")
		weak := rapid.Float64Range(2.3, 25).Draw(t, "weak")
		strong := rapid.Float64Range(weak, 26).Draw(t, "strong")
		a, errA := EstimateCure(CurePiece{ThicknessMM: mm, BrineSalt: weak})
		b, errB := EstimateCure(CurePiece{ThicknessMM: mm, BrineSalt: strong})
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		if a.Default < b.Default {
			t.Fatalf("%v %%: %v days; %v %%: %v days", weak, a.Default, strong, b.Default)
		}
	})
	// 50 mm: 7 days an inch decide at 10 %, salt decides at 3 %.
	if a, b := mustCure(t, CurePiece{ThicknessMM: 50, BrineSalt: 10}), mustCure(t, CurePiece{ThicknessMM: 50, BrineSalt: 3}); a.Default != 14 || b.Default < 18 {
		t.Errorf("%v and %v days", a.Default, b.Default)
	}
}

func TestEstimateCure_WithoutThicknessThereIsNoDefault(t *testing.T) {
	c := mustCure(t, CurePiece{MassKg: 3 * pound})
	if c.Default != 0 || c.TooShort(1) || len(c.Rules) != 1 || !strings.Contains(c.Judge(9), "the thickness is not known") {
		t.Errorf("%+v: %s", c, c.Judge(9))
	}
	if said := mustCure(t, CurePiece{ThicknessMM: 30, Flat: true}).Judge(20); !strings.Contains(said, "is longer than practice for a trimmed flat") {
		t.Errorf("Judge(20) = %q", said)
	}
}

func TestEstimateCure_SaysWhatToEnter(t *testing.T) {
	for _, test := range []struct {
		piece CurePiece
		want  string
	}{
		{CurePiece{ThicknessMM: -1}, "thickness -1 mm is not between 0 and 500"},
		{CurePiece{ThicknessMM: 50, BrineSalt: 2}, "make it stronger"},
		{CurePiece{ThicknessMM: 50, BrineSalt: 30}, "0 to 26.4%"},
		{CurePiece{ThicknessMM: 50, MassKg: math.NaN()}, "weigh the piece"},
	} {
		if _, err := EstimateCure(test.piece); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%+v: %v, want %q", test.piece, err, test.want)
		}
	}
}
