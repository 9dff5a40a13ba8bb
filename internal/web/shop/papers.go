package shop

import (
	"context"
	"encoding/json"
	"fmt"

	"stallkeeper/internal/brine"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/plan"
	"stallkeeper/internal/web/problem"
)

// Papers keeps what is written before the fire is lit: plans, and formulations by their names.
type Papers interface {
	KeepPlan(ctx context.Context, p cook.KeptPlan) (id int64, err error)
	Plans(ctx context.Context, q cook.PlanQuery) ([]cook.KeptPlan, error) // newest first
	Plan(ctx context.Context, id int64) (cook.KeptPlan, error)
	KeepFormulation(ctx context.Context, f cook.KeptFormulation) error
	DropFormulation(ctx context.Context, f cook.KeptFormulation) error
	Formulations(ctx context.Context) ([]cook.KeptFormulation, error) // the newest version of each, by name
	Formulation(ctx context.Context, name string) (cook.KeptFormulation, error)
}

// planned works an order out. Its errors are about the order.
func (s Shop) planned(order plan.Order) (plan.Plan, error) {
	request, err := order.Request(s.Now(), s.Location)
	if err != nil {
		return plan.Plan{}, problem.Bad("%s", problem.ClipTo(err.Error(), 2000))
	}
	made, err := plan.Make(s.Planner, request)
	if err != nil {
		return plan.Plan{}, problem.Bad("%s", problem.ClipTo(err.Error(), 2000))
	}
	return made, nil
}

// KeepPlan works an order out and keeps both.
func (s Shop) KeepPlan(ctx context.Context, order plan.Order, by string) (cook.KeptPlan, plan.Plan, error) {
	made, err := s.planned(order)
	if err != nil {
		return cook.KeptPlan{}, made, err
	}
	now := cook.Instant(s.Now())
	order.Now = made.Request.Now
	kept := cook.KeptPlan{Made: now, By: by, Name: order.Name, Serve: cook.Instant(order.Serve), Lot: order.Lot, Cook: order.Cook}
	if kept.Order, err = json.Marshal(order); err != nil {
		return kept, made, fmt.Errorf("write order: %w", err)
	}
	if kept.Plan, err = json.Marshal(made); err != nil {
		return kept, made, fmt.Errorf("write plan: %w", err)
	}
	kept.ID, err = s.Papers.KeepPlan(ctx, kept)
	return kept, made, err
}

// OrderOf reads the order of a kept plan.
func OrderOf(kept cook.KeptPlan) (o plan.Order, err error) {
	if err = json.Unmarshal(kept.Order, &o); err != nil {
		return o, fmt.Errorf("read plan %d: %w", kept.ID, err)
	}
	if o.Lot == "" {
		o.Lot = kept.Lot
	}
	if o.Cook == 0 {
		o.Cook = kept.Cook
	}
	return o, nil
}

// Remake makes a kept plan anew from its order, as it was made.
func (s Shop) Remake(kept cook.KeptPlan) (plan.Order, plan.Plan, error) {
	order, err := OrderOf(kept)
	if err != nil {
		return order, plan.Plan{}, err
	}
	made, err := s.planned(order)
	if err != nil {
		return order, made, fmt.Errorf("read plan %d: %w", kept.ID, err)
	}
	return order, made, nil
}

// KeepFormulation checks that a sheet can be worked out, and keeps it.
func (s Shop) KeepFormulation(ctx context.Context, name string, sheet brine.Sheet, by string) (cook.KeptFormulation, brine.Answer, error) {
	f := cook.KeptFormulation{Name: name, Made: cook.Instant(s.Now()), By: by}
	if err := cook.CheckName(name); err != nil {
		return f, brine.Answer{}, problem.Bad("%s", problem.ClipTo(err.Error(), 300))
	}
	answer, err := sheet.Work()
	if err != nil {
		return f, answer, problem.Bad("%s", problem.ClipTo(err.Error(), 2000))
	}
	if f.Sheet, err = json.Marshal(sheet); err != nil {
		return f, answer, fmt.Errorf("write sheet: %w", err)
	}
	return f, answer, s.Papers.KeepFormulation(ctx, f)
}

// SheetOf reads a kept formulation.
func SheetOf(f cook.KeptFormulation) (s brine.Sheet, err error) {
	if err = json.Unmarshal(f.Sheet, &s); err != nil {
		err = fmt.Errorf("read formulation %q: %w", f.Name, err)
	}
	return s, err
}
