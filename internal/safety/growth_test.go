package safety

import (
	"math"
	"testing"
	"time"
)

// Rates per hour at S = 1 %, pH 6.2, computed from the formula of Le Marc et al. 2008 by others (checks arithmetic, not the world).
func TestGrowthRate_AtFixedTemperatures(t *testing.T) {
	for celsius, want := range map[float64]float64{20: .3589, 30: 1.7523, 40: 3.5394, 45: 3.9128, 47: 3.7727, 12: 0, 55: 0} {
		if got := growthRate(celsius, 1, 6.2); math.Abs(got-want) > 6e-5 {
			t.Errorf("at %g °C %.4f per hour, want %.4f", celsius, got, want)
		}
	}
}

// log10 of growth along the legal coolings as straight lines, S = 0.5 %, pH 6.2: h0 2.7, 6.0 (computed by others on the same formula).
func TestCoolingGrowth_AlongTheLegalCoolings(t *testing.T) {
	for _, c := range []struct {
		name      string
		points    [][2]float64
		high, low float64
	}{
		{"option 1", [][2]float64{{0, 130}, {5400, 80}, {23400, 40}}, 1.30, .23},
		{"option 2", [][2]float64{{0, 120}, {3600, 80}, {21600, 55}}, 1.13, .16},
		{"Food Code", [][2]float64{{0, 135}, {7200, 70}, {21600, 41}}, 1.04, .14},
		{"the cured schedule on uncured meat", [][2]float64{{0, 130}, {18000, 80}, {54000, 45}}, 6.4, 5.0},
	} {
		g, ok := CoolingGrowth(dense(c.points).Readings, Settings{})
		if !ok || math.Abs(g.High-c.high) > .06 || math.Abs(g.Low-c.low) > .06 {
			t.Errorf("%s: %.2f to %.2f log10, want %.2f to %.2f", c.name, g.Low, g.High, c.low, c.high)
		}
	}
	if _, ok := CoolingGrowth(dense([][2]float64{{0, 130}, {300, 120}}).Readings, Settings{MaxGap: time.Minute}); ok {
		t.Error("growth through a gap is told")
	}
}

func TestParseOrganism(t *testing.T) {
	for text, want := range map[string]Organism{
		"D=0.3min@145F,z=8.3F":  {TrefF: 145, ZF: 8.3, D: .3},
		"D=20s@70C, z=7.5C":     {TrefF: 158, ZF: 13.5, D: 1. / 3},
		"listeria-ground-beef":  Organisms()["listeria-ground-beef"],
		"D=0.172min@150F,z=10F": {TrefF: 150, ZF: 10, D: .172},
	} {
		got, err := ParseOrganism(text)
		if err != nil || math.Abs(got.TrefF-want.TrefF) > 1e-9 || math.Abs(got.ZF-want.ZF) > 1e-9 || math.Abs(got.D-want.D) > 1e-9 {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "D=0.3min@145F", "D=0.3@145F,z=8F", "D=0.3min@145,z=8F", "D=0min@145F,z=8F", "D=1min@145F,z=0F", "D=1min@10F,z=10F", "z=10F,D=1min@145F"} {
		if got, err := ParseOrganism(text); err == nil {
			t.Errorf("%q: %+v, want an error", text, got)
		}
	}
}

// A steep rise between two readings 20 minutes apart is not counted as sure.
func TestLethality_DoesNotFlatterBetweenReadings(t *testing.T) {
	r := points([2]float64{0, 60}, [2]float64{1, 60})
	r = append(r, at(1200, 158), at(1201, 60))
	if got, _ := verdict(t, "fsis-meat-7log", Lethality, r, Settings{}); got != Unknown {
		t.Errorf("%v, want unknown", got)
	}
}
