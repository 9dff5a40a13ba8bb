package plan

import (
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
)

// slab cools in an hour for each 10 mm, whatever the surroundings and the stretch.
type slab struct{ even }

func (slab) CoolTime(c estimator.Chill, _ thermal.Celsius) (after [7]time.Duration) {
	mm := c.SlicedMM
	if mm == 0 {
		mm = c.Piece.ThicknessMM
	}
	for i := range after {
		after[i] = time.Duration(mm/10*60) * time.Minute
	}
	return after
}

// By hand for 50 mm, which takes 5 h for each stage: the Food Code (2 h, 6 h in all) and FSIS option 1 (1.5 h, 5 h) are met at 12 mm (72 min
// each) and not at 25 (150 min); cured (5 h, 10 h) takes it whole.
func TestChillPlan_ByHand(t *testing.T) {
	all, err := ChillPlan(slab{}, ChillAsk{Cut: estimator.BrisketFlatCured, MassKg: 2, ThicknessMM: 50, Cured: true})
	if err != nil || len(all) != 3 {
		t.Fatalf("%d limits, %v", len(all), err)
	}
	for i, want := range []string{"cut to at most 12 mm", "cut to at most 12 mm", "whole"} {
		w, ok := all[i].Thickest(estimator.CoolerAir)
		if !ok || !strings.HasPrefix(w.Words(), want) {
			t.Errorf("%s: %v %q, want %q", all[i].Limit.Name, ok, w.Words(), want)
		}
	}
	for _, w := range all[0].Ways {
		if w.Meets != (w.ThickMM == 12 || w.ThickMM == 6) || w.ThickMM >= 50 {
			t.Errorf("%s: meets %v with %v to spare", w.Words(), w.Meets, w.Margin)
		}
	}
	if all, err = ChillPlan(slab{}, ChillAsk{Cut: estimator.BrisketFlat, MassKg: 2, ThicknessMM: 50}); err != nil || len(all) != 2 {
		t.Errorf("uncured: %d limits, %v: the limit of cured meat is not for it", len(all), err)
	}
	for _, wrong := range []ChillAsk{{}, {Cut: "steak", MassKg: 1}, {Cut: estimator.BrisketFlat}, {Cut: estimator.BrisketFlat, MassKg: -1}, {Cut: estimator.BrisketFlat, MassKg: 1, ThicknessMM: 9000}} {
		if _, err := ChillPlan(slab{}, wrong); err == nil {
			t.Errorf("%+v is taken", wrong)
		}
	}
}

// The estimator's own forecasts: what is thinner never cools slower, and iced water never slower than air.
func TestChillPlan_ThinnerIsNeverSlower(t *testing.T) {
	all, err := ChillPlan(estimator.New(estimator.DefaultPrior()), ChillAsk{Cut: estimator.BrisketFlatCured, MassKg: 1.6, ThicknessMM: 45, Cured: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range all {
		for i, w := range c.Ways[1:] {
			before := c.Ways[i]
			if w.Where == before.Where && w.ThickMM < 45 && before.ThickMM != 0 && before.ThickMM < 45 && w.Takes[0] > before.Takes[0] {
				t.Errorf("%s: %s takes %v, %s %v", c.Limit.Name, w.Words(), w.Takes[0], before.Words(), before.Takes[0])
			}
		}
		if _, ok := c.Thickest(estimator.IceWater); !ok {
			t.Errorf("%s: no way meets it", c.Limit.Name)
		}
	}
}
