package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/plan"
)

// standing works an order out as it stands now: the stages of its lot, and the live forecasts of its cook.
func (o Shop) standing(ctx context.Context, order plan.Order) (plan.Plan, error) {
	now := o.Now()
	progress := map[cook.PieceID]plan.Progress{}
	var pit thermal.Celsius
	staged := map[cook.PieceID]plan.Progress{}
	if order.Lot != "" {
		lot, err := o.Records.Lot(ctx, order.Lot)
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
		if pit, err = o.cookProgress(ctx, order, now, progress); err != nil {
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
		return plan.Plan{}, refused(http.StatusConflict, "Conflict", "every piece has been served or chilled: nothing is left to plan")
	}
	return o.planned(again)
}

// cookProgress notes how far the pieces of the order's cook have come, and gives the pit's setpoint now.
func (o Shop) cookProgress(ctx context.Context, order plan.Order, now time.Time, progress map[cook.PieceID]plan.Progress) (thermal.Celsius, error) {
	stored, err := o.Library.Cook(ctx, order.Cook)
	if errors.Is(err, cook.ErrNotFound) {
		return 0, bad("cook %d is not known: use one that /api/v1/cooks lists", order.Cook)
	}
	if err != nil {
		return 0, err
	}
	snap := o.View.Snapshot()
	view, live := running(&snap, order.Cook)
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

// planOfCook plans what is left of a cook, by the newest plan that was kept for it or by what the cook itself says.
func (o Shop) planOfCook(ctx context.Context, id cook.ID, serve time.Time) (plan.Plan, error) {
	stored, err := o.Library.Cook(ctx, id)
	if err != nil {
		return plan.Plan{}, err
	}
	order := plan.FromCook(id, &stored.Cook)
	kept, err := o.Papers.Plans(ctx, cook.PlanQuery{Cook: id, Limit: 1})
	if err != nil {
		return plan.Plan{}, err
	}
	if len(kept) > 0 {
		if order, err = orderOf(kept[0]); err != nil {
			return plan.Plan{}, err
		}
	}
	if !serve.IsZero() {
		order.Serve = serve
	}
	if order.Serve.IsZero() {
		return plan.Plan{}, bad("the cook has no serving hour: give one with serve, or set serve_by of the cook")
	}
	return o.standing(ctx, order)
}

// getCookPlan gives what is left to do in a cook, by its live forecasts.
func (api *API) getCookPlan(w http.ResponseWriter, r *http.Request) error {
	id, err := pathCook(r)
	if err != nil {
		return err
	}
	q := queryOf(r, nil, "serve", "format")
	serve, format := q.time("serve"), q.values.Get("format")
	if err := q.err(); err != nil {
		return err
	}
	made, err := api.opts.planOfCook(r.Context(), id, serve)
	if err != nil {
		return err
	}
	return api.answerPlan(w, r, format, fmt.Sprintf("cook-%d", id), made)
}

// getPlanNow gives a kept plan as it stands now.
func (api *API) getPlanNow(w http.ResponseWriter, r *http.Request) error {
	kept, err := api.keptPlan(r)
	if err != nil {
		return err
	}
	q := queryOf(r, nil, "format")
	format := q.values.Get("format")
	if err := q.err(); err != nil {
		return err
	}
	order, err := orderOf(kept)
	if err != nil {
		return err
	}
	made, err := api.opts.standing(r.Context(), order)
	if err != nil {
		return err
	}
	return api.answerPlan(w, r, format, fmt.Sprintf("plan-%d", kept.ID), made)
}

// answerPlan answers with a plan that is not kept.
func (api *API) answerPlan(w http.ResponseWriter, r *http.Request, format, name string, made plan.Plan) error {
	switch format {
	case "", "json":
		return api.give(w, r, http.StatusOK, made)
	case "ics", "text":
		return api.givePlan(w, format, name, made)
	}
	return bad("format %s is not known: use json, ics or text", clip(format))
}
