package api

import (
	"net/http"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/larder"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/visitor"
)

// stockDoc is a batch in stock.
type stockDoc struct {
	Lot      cook.LotID   `json:"lot"`
	Product  string       `json:"product"`
	Entry    int64        `json:"entry"`
	In       time.Time    `json:"in"`
	Piece    cook.PieceID `json:"piece,omitempty"`
	Portions int          `json:"portions"`
	Left     int          `json:"left"`
	MassKg   float64      `json:"mass_kg,omitempty"`
	Kept     string       `json:"kept"`
	Where    string       `json:"where,omitempty"`
	UseBy    *time.Time   `json:"use_by"`
	Standard string       `json:"standard,omitempty"`
	Past     bool         `json:"past"`    // its date has passed
	Spoiled  bool         `json:"spoiled"` // and it may not be eaten
}

func stockDocOf(l larder.Lot, now time.Time) stockDoc {
	b := l.Body
	return stockDoc{l.ID, l.Product, l.Seq, l.At.UTC(), b.Piece, b.Portions, l.Left, b.MassKg, b.Kept, b.Where, orNull(b.UseBy), b.Standard, l.Past(now), l.Spoiled(now)}
}

func (api *API) getStock(w http.ResponseWriter, r *http.Request) error {
	if err := queryOf(r, nil).err(); err != nil {
		return err
	}
	stock, err := api.opts.Stock(r.Context())
	if err != nil {
		return err
	}
	out := make([]stockDoc, 0, len(stock))
	for _, l := range stock {
		out = append(out, stockDocOf(l, api.opts.Now()))
	}
	return api.give(w, r, http.StatusOK, struct {
		Stock []stockDoc `json:"stock"`
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
	who, err := api.opts.Sign(r, in.Signature)
	if err != nil {
		return err
	}
	entry, err := api.opts.PutIn(r.Context(), in.StockIn, who)
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusCreated, entryDocOf(entry))
}

// takenDoc is what was taken out, batch by batch.
type takenDoc struct {
	Taken []takenLine `json:"taken"`
}

type takenLine struct {
	Lot      cook.LotID `json:"lot"`
	Product  string     `json:"product"`
	From     int64      `json:"from"`
	Entry    int64      `json:"entry"`
	Portions int        `json:"portions"`
	Where    string     `json:"where,omitempty"`
	UseBy    *time.Time `json:"use_by"`
}

func (api *API) postStockTake(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		visitor.Signature
		shop.StockOut
	}
	if err := take(r, &in, false); err != nil {
		return err
	}
	who, err := api.opts.Sign(r, in.Signature)
	if err != nil {
		return err
	}
	drawn, err := api.opts.TakeOut(r.Context(), in.StockOut, who)
	if err != nil {
		return err
	}
	doc := takenDoc{Taken: make([]takenLine, 0, len(drawn))}
	for _, d := range drawn {
		doc.Taken = append(doc.Taken, takenLine{d.From.ID, d.From.Product, d.From.Seq, d.Entry, d.Portions, d.From.Body.Where, orNull(d.From.Body.UseBy)})
	}
	return api.give(w, r, http.StatusCreated, doc)
}

// getLives lists how long things keep, by which standard.
func (api *API) getLives(w http.ResponseWriter, r *http.Request) error {
	return api.give(w, r, http.StatusOK, struct {
		Standards []larder.Life `json:"standards"`
	}{larder.Lives()})
}
