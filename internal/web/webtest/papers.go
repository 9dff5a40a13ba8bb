package webtest

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// drawer keeps plans and formulations as the store does.
type drawer struct {
	plans []cook.KeptPlan
	forms []cook.KeptFormulation
}

func (d *drawer) KeepPlan(_ context.Context, p cook.KeptPlan) (int64, error) {
	p.ID = int64(len(d.plans) + 1)
	d.plans = append(d.plans, p)
	return p.ID, nil
}

func (d *drawer) Plans(_ context.Context, q cook.PlanQuery) ([]cook.KeptPlan, error) {
	var out []cook.KeptPlan
	for _, p := range slices.Backward(d.plans) {
		if (q.Before == 0 || p.ID < q.Before) && (q.Lot == "" || p.Lot == q.Lot) && (q.Cook == 0 || p.Cook == q.Cook) && (q.Limit == 0 || len(out) < q.Limit) {
			out = append(out, p)
		}
	}
	return out, nil
}

func (d *drawer) Plan(_ context.Context, id int64) (cook.KeptPlan, error) {
	if id < 1 || id > int64(len(d.plans)) {
		return cook.KeptPlan{}, fmt.Errorf("plan %d: %w", id, cook.ErrNotFound)
	}
	return d.plans[id-1], nil
}

func (d *drawer) KeepFormulation(_ context.Context, f cook.KeptFormulation) error {
	d.forms = slices.DeleteFunc(d.forms, func(o cook.KeptFormulation) bool { return o.Name == f.Name })
	d.forms = append(d.forms, f)
	return nil
}

func (d *drawer) DropFormulation(ctx context.Context, f cook.KeptFormulation) error {
	if _, err := d.Formulation(ctx, f.Name); err != nil {
		return err
	}
	d.forms = slices.DeleteFunc(d.forms, func(o cook.KeptFormulation) bool { return o.Name == f.Name })
	return nil
}

func (d *drawer) Formulations(context.Context) ([]cook.KeptFormulation, error) { return d.forms, nil }

func (d *drawer) Formulation(_ context.Context, name string) (cook.KeptFormulation, error) {
	for _, f := range d.forms {
		if f.Name == name {
			return f, nil
		}
	}
	return cook.KeptFormulation{}, fmt.Errorf("formulation %q: %w", name, cook.ErrNotFound)
}

// evenly is a forecaster with round numbers: ready after 6 to 10 h, half of them by 8; cooling takes an hour for each
// 10 mm to the half and as much again to the cold.
type evenly struct{}

func (evenly) Forecast(in estimator.Input, at time.Time) estimator.Forecast {
	f := estimator.Forecast{At: at, Target: in.Target, State: estimator.Warming, Because: "it has just begun to warm"}
	hours := func(h float64) time.Time { return at.Add(time.Duration(h * float64(time.Hour))) }
	for i, h := range []float64{5.75, 6, 6.75, 8, 9.25, 10, 10.25} {
		f.Ready[i] = hours(h)
	}
	for k := range 200 {
		f.Draws = append(f.Draws, estimator.Draw{Ready: hours(5.5 + 5*math.Mod(float64(k)*math.Sqrt(in.MassKg+0.3), 1))})
	}
	f.StallEnd = hours(5)
	for h := 0.0; h <= 8; h += 0.25 {
		f.Path = append(f.Path, estimator.PathPoint{Time: hours(h), P50: thermal.Celsius(min(4+22*h, max(67+h, 72+7*(h-5))))})
	}
	return f
}

func (evenly) CoolTime(c estimator.Chill, to thermal.Celsius) (after [7]time.Duration) {
	thick := c.SlicedMM
	if thick == 0 {
		thick = 50
	}
	for i := range after {
		after[i] = time.Duration(thick/10*float64(time.Hour)) * time.Duration(1+i/4)
		if to < 10 {
			after[i] *= 2
		}
	}
	return after
}
