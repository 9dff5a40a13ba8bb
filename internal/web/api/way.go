package api

import (
	"net/http"
	"strings"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// movedDoc is what a move entered.
type movedDoc struct {
	Entries []entryDoc `json:"entries"`
	Warning string     `json:"warning,omitempty"`
}

// nextNone in the place of the next stage only ends what runs.
const nextNone = "none"

func stageNames() string {
	var out []string
	for _, s := range cook.Stages() {
		out = append(out, string(s))
	}
	return strings.Join(out, ", ")
}

func (api *API) postLotStage(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		visitor.Signature
		shop.StageMove
	}
	if err := take(r, &in, false); err != nil {
		return err
	}
	switch in.To {
	case "":
		return problem.Bad(`to is missing: send the next stage as one of %s, or "none" to end what runs and begin nothing`, stageNames())
	case nextNone:
		in.To = ""
	}
	who, err := api.opts.Sign(r, in.Signature)
	if err != nil {
		return err
	}
	entries, warning, err := api.opts.MoveStage(r.Context(), cook.LotID(r.PathValue("lot")), in.StageMove, who)
	if err != nil {
		return err
	}
	doc := movedDoc{Warning: warning}
	for _, e := range entries {
		doc.Entries = append(doc.Entries, entryDocOf(e))
	}
	return api.give(w, r, http.StatusCreated, doc)
}

func (api *API) getLotTimeline(w http.ResponseWriter, r *http.Request) error {
	lot, err := api.opts.Records.Lot(r.Context(), cook.LotID(r.PathValue("lot")))
	if err != nil {
		return err
	}
	rows, err := api.opts.Timeline(r.Context(), lot)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, struct {
		Timeline []shop.Moment `json:"timeline"`
	}{append([]shop.Moment{}, rows...)})
}

func (api *API) getLotPlan(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "serve", "format")
	serve, format := q.time("serve"), q.values.Get("format")
	if err := q.err(); err != nil {
		return err
	}
	lot, err := api.opts.Records.Lot(r.Context(), cook.LotID(r.PathValue("lot")))
	if err != nil {
		return err
	}
	made, err := api.opts.PlanOfLot(r.Context(), lot, serve)
	if err != nil {
		return err
	}
	return api.answerPlan(w, r, format, string(lot.ID), made)
}

func (api *API) getLotYield(w http.ResponseWriter, r *http.Request) error {
	lot, err := api.opts.Records.Lot(r.Context(), cook.LotID(r.PathValue("lot")))
	if err != nil {
		return err
	}
	doc, err := api.opts.YieldOf(r.Context(), lot)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, doc)
}
