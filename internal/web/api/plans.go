package api

import (
	"fmt"
	"net/http"
	"strconv"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/plan"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// getPlans lists kept plans, newest first.
func (api *API) getPlans(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "before", "limit", "lot", "cook")
	before, limit, cookID := q.id("before"), q.count("limit", 50, 200), q.id("cook")
	lot := q.values.Get("lot")
	if err := q.err(); err != nil {
		return err
	}
	plans, err := api.opts.Papers.Plans(r.Context(), cook.PlanQuery{Lot: cook.LotID(lot), Cook: cook.ID(cookID), Before: before, Limit: limit + 1})
	if err != nil {
		return err
	}
	answer := struct {
		Plans []cook.KeptPlan `json:"plans"`
		Next  *string         `json:"next"`
	}{Plans: append([]cook.KeptPlan{}, plans[:min(limit, len(plans))]...)}
	if len(plans) > limit {
		add := []string{"limit", strconv.Itoa(limit), "before", strconv.FormatInt(plans[limit-1].ID, 10)}
		if lot != "" {
			add = append(add, "lot", lot)
		}
		if cookID != 0 {
			add = append(add, "cook", strconv.FormatInt(cookID, 10))
		}
		answer.Next = next(r, true, add...)
	}
	return api.give(w, r, http.StatusOK, answer)
}

// postPlan computes and keeps a plan. One that cannot be met is kept too: it says what can be.
func (api *API) postPlan(w http.ResponseWriter, r *http.Request) error {
	var order plan.Order
	if err := take(r, &order, false); err != nil {
		return err
	}
	kept, _, err := api.opts.KeepPlan(r.Context(), order, visitor.By(r, ""))
	if err != nil {
		return err
	}
	w.Header().Set("Location", fmt.Sprintf("/api/v1/plans/%d", kept.ID))
	return api.give(w, r, http.StatusCreated, kept)
}

func (api *API) getPlan(w http.ResponseWriter, r *http.Request) error {
	kept, err := api.keptPlan(r)
	if err != nil {
		return err
	}
	q := queryOf(r, nil, "format")
	format := q.values.Get("format")
	if err := q.err(); err != nil {
		return err
	}
	if format == "" || format == "json" {
		return api.give(w, r, http.StatusOK, kept)
	}
	if format != "ics" && format != "text" {
		return problem.Bad("format %s is not known: use json, ics or text", problem.Clip(format))
	}
	_, made, err := api.opts.Remake(kept)
	if err != nil {
		return err
	}
	return api.givePlan(w, format, fmt.Sprintf("plan-%d", kept.ID), made)
}

// keptPlan reads the plan that the path names.
func (api *API) keptPlan(r *http.Request) (cook.KeptPlan, error) {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil || id < 1 {
		return cook.KeptPlan{}, problem.Bad("%s is not the number of a plan: use one that /api/v1/plans lists", problem.Clip(r.PathValue("id")))
	}
	return api.opts.Papers.Plan(r.Context(), id)
}

// givePlan answers with a plan as a calendar file or as text.
func (api *API) givePlan(w http.ResponseWriter, format, name string, made plan.Plan) error {
	h := w.Header()
	h.Set("Cache-Control", "no-store")
	text := made.Text()
	if format == "ics" {
		h.Set("Content-Type", "text/calendar; charset=utf-8")
		h.Set("Content-Disposition", fmt.Sprintf(`attachment; filename="%s.ics"`, name))
		text = made.Calendar()
	} else {
		h.Set("Content-Type", "text/plain; charset=utf-8")
	}
	h.Set("Content-Length", strconv.Itoa(len(text)))
	if _, err := w.Write([]byte(text)); err != nil {
		api.opts.Log.Debug("plan not taken", "error", err)
	}
	return nil
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
	made, err := api.opts.PlanOfCook(r.Context(), id, serve)
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
	order, err := shop.OrderOf(kept)
	if err != nil {
		return err
	}
	made, err := api.opts.PlanNow(r.Context(), order)
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
	return problem.Bad("format %s is not known: use json, ics or text", problem.Clip(format))
}
