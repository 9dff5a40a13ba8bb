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
func (s Shop) Stock(ctx context.Context) ([]larder.Lot, error) {
	lots, err := s.FoldByLot(ctx, record.KindOpened, record.KindChanged, record.KindPortioned, record.KindTaken, record.KindWithdrawal)
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
func (s Shop) FoldByLot(ctx context.Context, kinds ...record.Kind) ([]*record.Lot, error) {
	entries, err := s.Records.Entries(ctx, record.Query{Kinds: kinds})
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
func (s Shop) PutIn(ctx context.Context, in StockIn, who record.Maker) (record.Entry, error) {
	lot, err := s.Records.Lot(ctx, in.Lot)
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
	if now := s.Now(); made.IsZero() {
		made = in.At
		if made.IsZero() {
			made = now
		}
	} else if err := cook.CheckHappened("made", made, now); err != nil {
		return record.Entry{}, problem.Bad("%v", err)
	}
	if life.Kept == record.InFreezer { // its quality counts from the freezing
		made = in.At
		if made.IsZero() {
			made = s.Now()
		}
	}
	body := record.Portioned{Piece: in.Piece, Portions: in.Portions, MassKg: in.MassKg, Kept: in.Kept, Where: in.Where,
		UseBy: cook.Instant(life.UseBy(made, s.Location)), Standard: life.Standard}
	entries, err := s.Records.Append(ctx, record.Draft{Lot: in.Lot, At: in.At, Maker: who, Body: body})
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

// Drawn is what was taken out of one batch, with the entry that says so.
type Drawn struct {
	larder.Draw
	Entry int64
}

// TakeOut enters which portions went out, the oldest first, all or none: a conflict when there are fewer.
func (s Shop) TakeOut(ctx context.Context, out StockOut, who record.Maker) ([]Drawn, error) {
	stock, err := s.Stock(ctx)
	if err != nil {
		return nil, err
	}
	draws, err := larder.FirstOut(stock, larder.Wish{Product: out.Product, Lot: out.Lot, Kept: out.Kept, Portions: out.Portions, Discard: out.Discard}, s.Now())
	if err != nil {
		if said := RecordError(err); said != err {
			return nil, said
		}
		return nil, problem.Bad("%s", problem.ClipTo(err.Error(), 300))
	}
	why := out.Why
	if why == "" && out.Discard {
		why = "thrown away"
	}
	var drafts []record.Draft
	for _, d := range draws {
		drafts = append(drafts, record.Draft{Lot: d.From.ID, At: out.At, Maker: who, Body: record.Taken{From: d.From.Seq, Portions: d.Portions, Why: why}})
	}
	entries, err := s.Records.Append(ctx, drafts...)
	if err != nil {
		return nil, RecordError(err)
	}
	if len(entries) != len(draws) {
		return nil, fmt.Errorf("take from stock: %d entries for %d batches", len(entries), len(draws))
	}
	taken := make([]Drawn, 0, len(draws))
	for i, d := range draws {
		taken = append(taken, Drawn{d, entries[i].Seq})
	}
	return taken, nil
}
