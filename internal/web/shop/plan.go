package shop

import (
	"context"
	"errors"
	"net/http"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/plan"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/problem"
)

// lotProgress notes how far the pieces of an order have come by the stages of its lot. Where a piece smokes, its cook is
// given back, if the stage names one.
func lotProgress(lot *record.Lot, order plan.Order, now time.Time, progress map[cook.PieceID]plan.Progress) (smokes cook.ID) {
	named := order.Named()
	for _, p := range named {
		var newest *record.StageRun
		for i := range lot.Stages {
			run := &lot.Stages[i]
			same := run.Piece == "" || run.Piece == p.ID || len(named) == 1 && len(lot.Pieces) <= 1
			if same && !run.From.After(now) && (newest == nil || !run.From.Before(newest.From)) {
				newest = run
			}
		}
		if newest == nil {
			continue
		}
		if newest.Stage == cook.StageSmoke && newest.Cook != 0 {
			smokes = newest.Cook
		}
		progress[p.ID] = plan.OfStage(newest.Stage, newest.From)
		if !newest.Until.IsZero() && !newest.Until.After(now) {
			progress[p.ID] = plan.AfterStage(newest.Stage, newest.Until)
		}
	}
	return smokes
}

// PlanOfLot plans what is left of a lot, by the plan that KeptPlanOfLot finds; a zero serve is the hour of that plan.
func (s Shop) PlanOfLot(ctx context.Context, lot *record.Lot, serve time.Time) (plan.Plan, error) {
	kept, err := s.KeptPlanOfLot(ctx, lot)
	if err != nil {
		return plan.Plan{}, err
	}
	if kept == nil {
		return plan.Plan{}, problem.New(http.StatusNotFound, "Not found", "no plan is kept for this lot: make one and name the lot in it")
	}
	order, err := OrderOf(*kept)
	if err != nil {
		return plan.Plan{}, err
	}
	order.Lot = lot.ID
	if !serve.IsZero() {
		order.Serve = serve
	}
	return s.PlanNow(ctx, order)
}

// KeptPlanOfLot finds the plan of a lot: that which its journal names last, or else the newest that was kept for it; nil when there is none.
func (s Shop) KeptPlanOfLot(ctx context.Context, lot *record.Lot) (*cook.KeptPlan, error) {
	if n := len(lot.Plans); n > 0 {
		kept, err := s.Papers.Plan(ctx, lot.Plans[n-1].Body.Plan)
		if err == nil {
			return &kept, nil
		}
		if !errors.Is(err, cook.ErrNotFound) {
			return nil, err
		}
	}
	plans, err := s.Papers.Plans(ctx, cook.PlanQuery{Lot: lot.ID, Limit: 1})
	if err != nil || len(plans) == 0 {
		return nil, err
	}
	return &plans[0], nil
}

// PlanNow works an order out as it stands now: the stages of its lot, and the live forecasts of its cook. Once every piece is served or chilled
// it is a conflict.
func (s Shop) PlanNow(ctx context.Context, order plan.Order) (plan.Plan, error) {
	now := s.Now()
	progress := map[cook.PieceID]plan.Progress{}
	var pit thermal.Celsius
	staged := map[cook.PieceID]plan.Progress{}
	if order.Lot != "" {
		lot, err := s.Records.Lot(ctx, order.Lot)
		if err != nil && !errors.Is(err, cook.ErrNotFound) {
			return plan.Plan{}, err
		}
		if err == nil {
			if smokes := lotProgress(lot, order, now, staged); smokes != 0 {
				order.Cook = smokes
			}
		}
	}
	if order.Cook != 0 {
		var err error
		if pit, err = s.cookProgress(ctx, order, now, progress); err != nil {
			return plan.Plan{}, err
		}
	}
	for id, at := range staged { // the stages of the lot say more than the cook, but for a piece that smokes
		if _, cooking := progress[id]; !cooking || at.Done != plan.SmokeStart {
			progress[id] = at
		}
	}
	again := order.Replan(now, pit, progress)
	if len(again.Pieces) == 0 {
		return plan.Plan{}, problem.New(http.StatusConflict, "Conflict", "every piece has been served or chilled: nothing is left to plan")
	}
	return s.planned(again)
}

// cookProgress notes how far the pieces of the order's cook have come, and gives the pit's setpoint now.
func (s Shop) cookProgress(ctx context.Context, order plan.Order, now time.Time, progress map[cook.PieceID]plan.Progress) (thermal.Celsius, error) {
	stored, err := s.Library.Cook(ctx, order.Cook)
	if errors.Is(err, cook.ErrNotFound) {
		return 0, problem.Bad("cook %d is not known: use one that /api/v1/cooks lists", order.Cook)
	}
	if err != nil {
		return 0, err
	}
	snap := s.View.Snapshot()
	view, live := Running(&snap, order.Cook)
	named := order.Named()
	for i, p := range stored.Pieces {
		var f *estimator.Forecast
		if live {
			for k := range view.Pieces {
				if v := &view.Pieces[k]; v.Piece.ID == p.ID && v.Forecasted {
					f = &v.Forecast
				}
			}
		}
		at := plan.OfCook(&stored.Cook, p.ID, f, now)
		if !stored.Running() && at.Done == plan.SmokeStart {
			at = plan.Progress{Done: plan.Rest, At: stored.Ended}
		}
		id := p.ID
		if len(stored.Pieces) == 1 && len(named) == 1 {
			id = named[i].ID // one piece is the same by whatever name
		}
		if at.Done != "" {
			progress[id] = at
		}
	}
	return stored.SetPointAt(now), nil
}

// PlanOfCook plans what is left of a cook, by the newest plan that was kept for it or by what the cook itself says; a zero serve is the hour of
// that plan, or of the cook.
func (s Shop) PlanOfCook(ctx context.Context, id cook.ID, serve time.Time) (plan.Plan, error) {
	stored, err := s.Library.Cook(ctx, id)
	if err != nil {
		return plan.Plan{}, err
	}
	order := plan.FromCook(id, &stored.Cook)
	kept, err := s.Papers.Plans(ctx, cook.PlanQuery{Cook: id, Limit: 1})
	if err != nil {
		return plan.Plan{}, err
	}
	if len(kept) > 0 {
		if order, err = OrderOf(kept[0]); err != nil {
			return plan.Plan{}, err
		}
	}
	if !serve.IsZero() {
		order.Serve = serve
	}
	if order.Serve.IsZero() {
		return plan.Plan{}, problem.Bad("the cook has no serving hour: give one with serve, or set serve_by of the cook")
	}
	return s.PlanNow(ctx, order)
}
