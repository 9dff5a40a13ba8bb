package shop

import (
	"context"
	"fmt"
	"slices"

	"stallkeeper/internal/record"
)

// Yield is the yield of a lot, with what others printed and what earlier lots of the product gave.
type Yield struct {
	record.Yield
	Published []record.Published `json:"published"`
	History   *YieldHistory      `json:"history"` // null when no earlier lot of the product was weighed
}

// YieldHistory is the range of an own history: cooked over trimmed, and the last step over raw.
type YieldHistory struct {
	Lots    int     `json:"lots"`
	Low     float64 `json:"low"`
	Median  float64 `json:"median"`
	High    float64 `json:"high"`
	Against string  `json:"against"`
}

// historyLots is how many earlier lots are looked at.
const historyLots = 100

// YieldOf weighs a lot, beside what others published for its cuts and what the lots of its product among the last hundred of the shop gave. A
// lot without weights has no steps and no history.
func (s Shop) YieldOf(ctx context.Context, lot *record.Lot) (Yield, error) {
	doc := Yield{Yield: lot.Yield(), Published: []record.Published{}}
	for _, p := range lot.Pieces {
		if list := record.PublishedYields(p.Cut); len(doc.Published) == 0 {
			doc.Published = append(doc.Published, list...)
		}
	}
	others, _, err := s.Records.Lots(ctx, 0, historyLots, false)
	if err != nil {
		return doc, err
	}
	from, to := record.WhenTrimmed, record.WhenSmoked
	if doc.Of(from, to) == 0 {
		from, to = record.WhenRaw, doc.Last
	}
	var shares []float64
	for _, l := range others {
		if l.ID != lot.ID && l.Product == lot.Product {
			if of := l.Yield().Of(from, to); of > 0 {
				shares = append(shares, of)
			}
		}
	}
	if n := len(shares); n > 0 {
		slices.Sort(shares)
		doc.History = &YieldHistory{n, shares[0], shares[n/2], shares[n-1], fmt.Sprintf("%s over %s", to, from)}
	}
	return doc, nil
}
