package api

import (
	"fmt"
	"net/http"
	"strconv"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/visitor"
)

// farthestStart is how far ahead a cook may be laid out. Choice of this project.
const farthestStart = 7 * 24 * time.Hour

func pathCook(r *http.Request) (cook.ID, error) {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil || id < 1 {
		return 0, problem.Bad("%s is not the number of a cook: use one that /api/v1/cooks lists", problem.Clip(r.PathValue("id")))
	}
	return cook.ID(id), nil
}

// storedCook reads the cook that the path names.
func (api *API) storedCook(r *http.Request) (*cook.Stored, error) {
	id, err := pathCook(r)
	if err != nil {
		return nil, err
	}
	return api.opts.Library.Cook(r.Context(), id)
}

func (api *API) getCooks(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "before", "limit")
	before, limit := q.id("before"), q.count("limit", 100, 1000)
	if err := q.err(); err != nil {
		return err
	}
	cooks, err := api.opts.Library.Cooks(r.Context(), cook.ID(before), limit+1)
	if err != nil {
		return err
	}
	answer := struct {
		Cooks []cook.Stored `json:"cooks"`
		Next  *string       `json:"next"`
	}{Cooks: append([]cook.Stored{}, cooks[:min(limit, len(cooks))]...)}
	if len(cooks) > limit {
		answer.Next = next(r, true, "limit", strconv.Itoa(limit), "before", strconv.FormatInt(int64(cooks[limit-1].ID), 10))
	}
	return api.give(w, r, http.StatusOK, answer)
}

func (api *API) getCook(w http.ResponseWriter, r *http.Request) error {
	stored, err := api.storedCook(r)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, stored)
}

func (api *API) postCook(w http.ResponseWriter, r *http.Request) error {
	var c cook.Cook
	if err := take(r, &c, false); err != nil {
		return err
	}
	if err := c.Validate(); err != nil {
		return problem.Bad("%s", problem.ClipTo(err.Error(), 2000))
	}
	if limit := api.opts.Now().Add(farthestStart); c.Started.After(limit) {
		return problem.Bad("started is more than %d days ahead: start the cook when it comes nearer", int(farthestStart/(24*time.Hour)))
	}
	id, err := api.opts.Desk.StartCook(r.Context(), c)
	if err != nil {
		return problem.Saying(err, "a running cook uses one of these probes, or is the same: end it first, or name other probes")
	}
	return api.created(w, r, newID{ID: id})
}

// newID is the number of a new cook, and what was not as expected.
type newID struct {
	ID      cook.ID `json:"id"`
	Warning string  `json:"warning,omitempty"`
}

// created answers with the number of a new cook and where it is.
func (api *API) created(w http.ResponseWriter, r *http.Request, id newID) error {
	w.Header().Set("Location", fmt.Sprintf("/api/v1/cooks/%d", id.ID))
	return api.give(w, r, http.StatusCreated, id)
}

func (api *API) patchCook(w http.ResponseWriter, r *http.Request) error {
	stored, err := api.storedCook(r)
	if err != nil {
		return err
	}
	var a cook.Amendment
	if err := take(r, &a, false); err != nil {
		return err
	}
	if !a.Time.IsZero() {
		return problem.Bad("time is given by the daemon: leave it out")
	}
	a.Time, a.By = api.opts.Now().UTC(), visitor.By(r, a.By)
	if err := checkAmendment(stored, a); err != nil {
		return err
	}
	if err := api.opts.Desk.Amend(r.Context(), stored.ID, a); err != nil {
		return problem.Saying(err, "this cook has ended, or another running cook uses the probe: look at both again")
	}
	if stored, err = api.opts.Library.Cook(r.Context(), stored.ID); err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, stored)
}

func checkAmendment(stored *cook.Stored, a cook.Amendment) error {
	ofPiece := a.Target != 0 || len(a.Probes) > 0 || a.Plan != nil
	switch _, known := stored.Piece(a.Piece); {
	case a.Piece == "" && ofPiece:
		return problem.Bad("piece is missing: say whose target, probes or plan it is")
	case a.Piece != "" && !known:
		return problem.Bad("piece %s is not in this cook", problem.Clip(string(a.Piece)))
	case !ofPiece && a.ServeBy.IsZero() && a.Pit == nil:
		return problem.Bad("nothing to change: send serve_by, pit_plan, or piece with target_c, probes or plan")
	}
	if err := cook.CheckText("by", a.By); err != nil {
		return problem.Bad("%s", problem.ClipTo(err.Error(), 200))
	}
	if _, err := a.Make(stored.Cook); err != nil {
		return problem.Bad("%s", problem.ClipTo(err.Error(), 2000))
	}
	return nil
}

func (api *API) postEnd(w http.ResponseWriter, r *http.Request) error {
	stored, err := api.storedCook(r)
	if err != nil {
		return err
	}
	var body struct {
		At time.Time `json:"at"`
	}
	if err := take(r, &body, true); err != nil {
		return err
	}
	at, err := api.opts.When("at", body.At)
	if err != nil {
		return err
	}
	if at.Before(stored.Started) {
		return problem.Bad("at %s is before the cook was started", at.Format(time.RFC3339))
	}
	if err := api.opts.Desk.EndCook(r.Context(), stored.ID, at); err != nil {
		return problem.Saying(err, "this cook has ended already")
	}
	if stored, err = api.opts.Library.Cook(r.Context(), stored.ID); err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, stored)
}

func (api *API) getCookEvents(w http.ResponseWriter, r *http.Request) error {
	stored, err := api.storedCook(r)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, eventsDoc{entriesOf(stored)})
}

// eventDoc is an entry and the cook it belongs to. Replaced says that a later entry corrects or withdraws it.
type eventDoc struct {
	Cook cook.ID `json:"cook"`
	cook.Entry
	Replaced bool `json:"replaced,omitempty"`
}

type eventsDoc struct {
	Events []eventDoc `json:"events"`
}

func entriesOf(stored *cook.Stored) []eventDoc {
	out := make([]eventDoc, 0, len(stored.Entries))
	for _, e := range stored.Entries {
		out = append(out, eventDoc{stored.ID, e, stored.Replaced(e.ID)})
	}
	return out
}

// getEvents lists the entries of the running cooks, or of one cook.
func (api *API) getEvents(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "cook")
	id := cook.ID(q.id("cook"))
	if err := q.err(); err != nil {
		return err
	}
	doc := eventsDoc{[]eventDoc{}}
	if id != 0 {
		stored, err := api.opts.Library.Cook(r.Context(), id)
		if err != nil {
			return err
		}
		doc.Events = entriesOf(stored)
		return api.give(w, r, http.StatusOK, doc)
	}
	for _, c := range api.opts.View.Snapshot().Cooks {
		doc.Events = append(doc.Events, entriesOf(&c.Stored)...)
	}
	return api.give(w, r, http.StatusOK, doc)
}

func (api *API) postEvent(w http.ResponseWriter, r *http.Request) error {
	id, err := pathCook(r)
	if err != nil {
		return err
	}
	if _, err := api.opts.Library.Cook(r.Context(), id); err != nil { // before the body is looked at
		return err
	}
	var e cook.Entry
	if err := take(r, &e, false); err != nil {
		return err
	}
	if e.ID != 0 || !e.Logged.IsZero() {
		return problem.Bad("id and logged are given by the daemon: leave them out")
	}
	e.By = visitor.By(r, e.By)
	kept, err := api.opts.LogEvent(r.Context(), id, e)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusCreated, eventDoc{Cook: id, Entry: kept})
}
