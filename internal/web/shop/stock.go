package shop

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/larder"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/problem"
)

// Stock gives what is in stock, first in first out. The oldest portions go out first, so every lot is looked at: few kinds suffice.
func (o Shop) Stock(ctx context.Context) ([]larder.Lot, error) {
	lots, err := o.FoldByLot(ctx, record.KindOpened, record.KindChanged, record.KindPortioned, record.KindTaken, record.KindWithdrawal)
	if err != nil {
		return nil, err
	}
	var out []larder.Lot
	for _, l := range lots {
		for _, b := range l.Stock {
			out = append(out, larder.Lot{ID: l.ID, Product: l.Product, Batch: b})
		}
	}
	return larder.InOrder(out), nil
}

// FoldByLot folds the entries of some kinds of every lot, and of the shop's own, in the order of their names.
func (o Shop) FoldByLot(ctx context.Context, kinds ...record.Kind) ([]*record.Lot, error) {
	entries, err := o.Records.Entries(ctx, record.Query{Kinds: kinds})
	if err != nil {
		return nil, err
	}
	byLot := map[cook.LotID][]record.Entry{}
	for _, e := range entries {
		byLot[e.Lot] = append(byLot[e.Lot], e)
	}
	out := make([]*record.Lot, 0, len(byLot))
	for _, id := range slices.Sorted(maps.Keys(byLot)) {
		l, err := record.Fold(byLot[id])
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, nil
}

// StockLine is a batch in stock.
type StockLine struct {
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

func StockLineOf(l larder.Lot, now time.Time) StockLine {
	b := l.Body
	return StockLine{l.ID, l.Product, l.Seq, l.At.UTC(), b.Piece, b.Portions, l.Left, b.MassKg, b.Kept, b.Where, OrNull(b.UseBy), b.Standard, l.Past(now), l.Spoiled(now)}
}

// StockIn puts portions into stock. Its date is reckoned from when the meat was cooked.
type StockIn struct {
	Lot      cook.LotID   `json:"lot"`
	Piece    cook.PieceID `json:"piece,omitempty"`
	Portions int          `json:"portions"`
	MassKg   float64      `json:"mass_kg,omitempty"`
	Kept     string       `json:"kept"`
	Where    string       `json:"where,omitempty"`
	Standard string       `json:"standard,omitempty"` // id of a standard; absent: the stricter
	Made     time.Time    `json:"made,omitzero"`      // absent: the end of its smoking, or now
	At       time.Time    `json:"at,omitzero"`
}

// PutIn enters portions, with the date by which they are to be used.
func (o Shop) PutIn(ctx context.Context, in StockIn, by string, auth record.Auth) (record.Entry, error) {
	lot, err := o.Records.Lot(ctx, in.Lot)
	if err != nil {
		return record.Entry{}, RecordError(err)
	}
	life, err := larder.Find(in.Standard, in.Kept)
	if err != nil {
		return record.Entry{}, problem.Bad("%s", problem.ClipTo(err.Error(), 300))
	}
	made := in.Made
	if made.IsZero() {
		made = cookedAt(lot, in.Piece)
	}
	if now := o.Now(); made.IsZero() {
		made = in.At
		if made.IsZero() {
			made = now
		}
	} else if made.After(now.Add(Ahead)) {
		return record.Entry{}, problem.Bad("made is in the future: say when it was cooked")
	}
	if life.Kept == record.InFreezer { // its quality counts from the freezing
		made = in.At
		if made.IsZero() {
			made = o.Now()
		}
	}
	body := record.Portioned{Piece: in.Piece, Portions: in.Portions, MassKg: in.MassKg, Kept: in.Kept, Where: in.Where,
		UseBy: cook.Instant(life.UseBy(made, o.Location)), Standard: life.Standard}
	entries, err := o.Records.Append(ctx, record.Draft{Lot: in.Lot, At: in.At, By: by, Auth: auth, Body: body})
	if err != nil {
		return record.Entry{}, RecordError(err)
	}
	return entries[0], nil
}

// cookedAt is when a piece came off the fire: the end of its newest smoking; zero if it was never smoked.
func cookedAt(lot *record.Lot, piece cook.PieceID) time.Time {
	var at time.Time
	for _, run := range lot.Stages {
		if run.Stage == cook.StageSmoke && !run.Until.IsZero() && (run.Piece == "" || piece == "" || run.Piece == piece) && run.Until.After(at) {
			at = run.Until
		}
	}
	return at
}

// StockOut takes portions out of stock, the oldest first.
type StockOut struct {
	Product  string     `json:"product,omitempty"`
	Lot      cook.LotID `json:"lot,omitempty"`
	Kept     string     `json:"kept,omitempty"`
	Portions int        `json:"portions"`
	Why      string     `json:"why,omitempty"`
	Discard  bool       `json:"discard,omitempty"`
	At       time.Time  `json:"at,omitzero"`
}

// Taken is what was taken out, batch by batch.
type Taken struct {
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

// TakeOut enters which portions went out, all or none.
func (o Shop) TakeOut(ctx context.Context, out StockOut, by string, auth record.Auth) (Taken, error) {
	stock, err := o.Stock(ctx)
	if err != nil {
		return Taken{}, err
	}
	draws, err := larder.FirstOut(stock, larder.Wish{Product: out.Product, Lot: out.Lot, Kept: out.Kept, Portions: out.Portions, Discard: out.Discard}, o.Now())
	if err != nil {
		if said := RecordError(err); said != err {
			return Taken{}, said
		}
		return Taken{}, problem.Bad("%s", problem.ClipTo(err.Error(), 300))
	}
	why := out.Why
	if why == "" && out.Discard {
		why = "thrown away"
	}
	var drafts []record.Draft
	for _, d := range draws {
		drafts = append(drafts, record.Draft{Lot: d.From.ID, At: out.At, By: by, Auth: auth, Body: record.Taken{From: d.From.Seq, Portions: d.Portions, Why: why}})
	}
	entries, err := o.Records.Append(ctx, drafts...)
	if err != nil {
		return Taken{}, RecordError(err)
	}
	if len(entries) != len(draws) {
		return Taken{}, fmt.Errorf("take from stock: %d entries for %d batches", len(entries), len(draws))
	}
	doc := Taken{Taken: make([]takenLine, 0, len(draws))}
	for i, d := range draws {
		doc.Taken = append(doc.Taken, takenLine{d.From.ID, d.From.Product, d.From.Seq, entries[i].Seq, d.Portions, d.From.Body.Where, OrNull(d.From.Body.UseBy)})
	}
	return doc, nil
}
