package outlook

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/plan"
)

// inputs keeps what a plan asks of the forecaster.
type inputs struct {
	*estimator.Estimator
	asked []estimator.Input
}

func (i *inputs) Forecast(in estimator.Input, at time.Time) estimator.Forecast {
	i.asked = append(i.asked, in)
	return i.Estimator.Forecast(in, at)
}

// TestCold_IsWhatThePlanAsks: a plan and the page that lights a fire must not tell two stories.
func TestCold_IsWhatThePlanAsks(t *testing.T) {
	at := time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC)
	p := cook.Piece{ID: "flat", Cut: "brisket_flat", MassKg: 3, ThicknessMM: 55, Target: 93, Plan: &cook.WrapPlan{Wrap: "foil", AtC: 72}}
	c := cook.Cook{Name: "x", Started: at, AltitudeM: 300, Pit: cook.Pit{SetPoint: 115, Fire: "offset"}, Pieces: []cook.Piece{p}}
	planned := &inputs{Estimator: estimator.New(estimator.DefaultPrior())}
	if _, err := plan.Make(planned, plan.Request{Now: at, Serve: at.Add(48 * time.Hour), Pit: 115, Fire: "offset", AltitudeM: 300,
		Pieces: []plan.Piece{{ID: "flat", Cut: "brisket_flat", MassKg: 3, ThicknessMM: 55, Target: 93, Wrap: &estimator.WrapPlan{With: estimator.Foil, AtCelsius: 72}}}}); err != nil {
		t.Fatal(err)
	}
	want := Cold(c, p, at)
	if !slices.ContainsFunc(planned.asked, func(in estimator.Input) bool { return reflect.DeepEqual(in, want) }) {
		t.Errorf("the plan asks for %+v, Cold gives %+v", planned.asked, want)
	}
}
