package api

import (
	"net/http"
	"strconv"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/visitor"
)

// lotDoc is a lot as it stands.
type lotDoc struct {
	*record.Lot
	OpenDeviations int       `json:"open_deviations"`
	Reviewed       bool      `json:"reviewed"` // a pre-shipment review holds and lets it go
	KeepUntil      time.Time `json:"keep_until,omitzero"`
}

func (api *API) lotDocOf(l *record.Lot) lotDoc {
	review, holds := l.Review()
	return lotDoc{l, len(l.OpenDeviations()), holds && review.Body.Ship, l.KeepUntil(api.opts.KeepYears)}
}

func (api *API) getLots(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "before", "limit", "running")
	before, limit, running := q.id("before"), q.count("limit", 50, 200), q.yes("running")
	if err := q.err(); err != nil {
		return err
	}
	lots, further, err := api.opts.Records.Lots(r.Context(), before, limit, running)
	if err != nil {
		return err
	}
	answer := struct {
		Lots []lotDoc `json:"lots"`
		Next *string  `json:"next"`
	}{Lots: []lotDoc{}, Next: next(r, further != 0, "limit", strconv.Itoa(limit), "before", strconv.FormatInt(further, 10))}
	for _, l := range lots {
		answer.Lots = append(answer.Lots, api.lotDocOf(l))
	}
	return api.give(w, r, http.StatusOK, answer)
}

func (api *API) getLot(w http.ResponseWriter, r *http.Request) error {
	lot, err := api.opts.Records.Lot(r.Context(), cook.LotID(r.PathValue("lot")))
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, api.lotDocOf(lot))
}

// newLot is a lot as it is opened. Without an id it is named after the day and the product.
type newLot struct {
	visitor.Signature
	ID cook.LotID `json:"id,omitempty"`
	At time.Time  `json:"at,omitzero"`
	record.Opened
}

func (api *API) postLot(w http.ResponseWriter, r *http.Request) error {
	var in newLot
	if err := take(r, &in, false); err != nil {
		return err
	}
	who, err := api.opts.Sign(r, in.Signature)
	if err != nil {
		return err
	}
	at, err := api.opts.When("at", in.At)
	if err != nil {
		return err
	}
	id, err := api.opts.OpenLot(r.Context(), record.Draft{Lot: in.ID, At: at, Maker: who, Body: in.Opened}, in.Product, at)
	if err != nil {
		return err
	}
	lot, err := api.opts.Records.Lot(r.Context(), id)
	if err != nil {
		return err
	}
	w.Header().Set("Location", "/api/v1/lots/"+string(lot.ID))
	return api.give(w, r, http.StatusCreated, api.lotDocOf(lot))
}
