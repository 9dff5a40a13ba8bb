package store

import (
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"stallkeeper/internal/cook"
)

func TestPlans_AreKeptNewestFirst(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	at := time.Date(2026, 4, 20, 7, 0, 0, 0, time.UTC)
	for i, p := range []cook.KeptPlan{{Name: "first", Lot: "m1"}, {Name: "second", Cook: 3}} {
		p.Made, p.Serve, p.Order, p.Plan = at, at.AddDate(0, 0, 13), []byte(`{"pit_c":107}`), []byte(`{"feasible":true}`)
		if id, err := s.KeepPlan(t.Context(), p); err != nil || id != int64(i+1) {
			t.Fatalf("KeepPlan = %d, %v", id, err)
		}
	}
	for _, test := range []struct {
		q    cook.PlanQuery
		want []string
	}{{cook.PlanQuery{}, []string{"second", "first"}}, {cook.PlanQuery{Limit: 1}, []string{"second"}}, {cook.PlanQuery{Before: 2}, []string{"first"}},
		{cook.PlanQuery{Lot: "m1"}, []string{"first"}}, {cook.PlanQuery{Cook: 3}, []string{"second"}}, {cook.PlanQuery{Lot: "m2"}, nil}} {
		plans, err := s.Plans(t.Context(), test.q)
		var got []string
		for _, p := range plans {
			got = append(got, p.Name)
		}
		if err != nil || !cmp.Equal(got, test.want) {
			t.Errorf("Plans(%+v) = %v, %v, want %v", test.q, got, err, test.want)
		}
	}
	if p, err := s.Plan(t.Context(), 1); err != nil || p.Name != "first" || string(p.Plan) != `{"feasible":true}` || !p.Made.Equal(at) {
		t.Errorf("Plan(1) = %+v, %v", p, err)
	}
	if _, err := s.Plan(t.Context(), 9); !errors.Is(err, cook.ErrNotFound) {
		t.Errorf("Plan(9): %v, want ErrNotFound", err)
	}
}

func TestFormulations_TheNewestOfANameHolds(t *testing.T) {
	s := mustOpen(t, fileOf(t))
	at := time.Date(2026, 4, 20, 7, 0, 0, 0, time.UTC)
	for _, f := range []cook.KeptFormulation{{Name: "pastrami", Sheet: []byte(`{"meat":"3kg"}`)}, {Name: "Bacon", Sheet: []byte(`{}`)}, {Name: "pastrami", Sheet: []byte(`{"meat":"4kg"}`), By: "KM"}} {
		f.Made = at
		if err := s.KeepFormulation(t.Context(), f); err != nil {
			t.Fatal(err)
		}
	}
	all, err := s.Formulations(t.Context())
	if err != nil || len(all) != 2 || all[0].Name != "Bacon" || string(all[1].Sheet) != `{"meat":"4kg"}` || all[1].By != "KM" {
		t.Errorf("Formulations = %+v, %v", all, err)
	}
	if err := s.DropFormulation(t.Context(), cook.KeptFormulation{Name: "Bacon", Made: at}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Formulation(t.Context(), "Bacon"); !errors.Is(err, cook.ErrNotFound) {
		t.Errorf("a dropped one: %v, want ErrNotFound", err)
	}
	if err := s.DropFormulation(t.Context(), cook.KeptFormulation{Name: "Bacon", Made: at}); !errors.Is(err, cook.ErrNotFound) {
		t.Errorf("dropped twice: %v, want ErrNotFound", err)
	}
	for _, name := range []string{"", " a", "a/b", "..", "a\nb"} {
		if err := s.KeepFormulation(t.Context(), cook.KeptFormulation{Name: name, Made: at}); err == nil {
			t.Errorf("the name %q is taken", name)
		}
	}
}
