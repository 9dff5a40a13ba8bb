package api

import (
	"net/http"

	"stallkeeper/internal/larder"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

func (api *API) getStock(w http.ResponseWriter, r *http.Request) error {
	if err := queryOf(r, nil).err(); err != nil {
		return err
	}
	stock, err := api.opts.Stock(r.Context())
	if err != nil {
		return err
	}
	out := make([]shop.StockLine, 0, len(stock))
	for _, l := range stock {
		out = append(out, shop.StockLineOf(l, api.opts.Now()))
	}
	return api.give(w, r, http.StatusOK, struct {
		Stock []shop.StockLine `json:"stock"`
	}{out})
}

func (api *API) postStock(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		visitor.Signature
		shop.StockIn
	}
	if err := take(r, &in, false); err != nil {
		return err
	}
	who, auth, err := api.opts.Sign(r, in.Signature)
	if err != nil {
		return err
	}
	entry, err := api.opts.PutIn(r.Context(), in.StockIn, who, auth)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusCreated, entryDocOf(entry))
}

func (api *API) postStockTake(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		visitor.Signature
		shop.StockOut
	}
	if err := take(r, &in, false); err != nil {
		return err
	}
	who, auth, err := api.opts.Sign(r, in.Signature)
	if err != nil {
		return err
	}
	doc, err := api.opts.TakeOut(r.Context(), in.StockOut, who, auth)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusCreated, doc)
}

// getLives lists how long things keep, by which standard.
func (api *API) getLives(w http.ResponseWriter, r *http.Request) error {
	return api.give(w, r, http.StatusOK, struct {
		Standards []larder.Life `json:"standards"`
	}{larder.Lives()})
}
