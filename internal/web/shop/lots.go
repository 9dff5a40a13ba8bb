package shop

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/problem"
)

// mostOfADay is how many lots of one product get names of one day.
const mostOfADay = 100

// OpenLot enters the opening of a lot and gives its name. Without one in the draft it is named after the local day and the product, the first
// name that is free; at is that day. What does not fit is a problem.Error.
func (s Shop) OpenLot(ctx context.Context, draft record.Draft, product string, at time.Time) (cook.LotID, error) {
	named := draft.Lot != ""
	for n := 1; ; n++ {
		if !named {
			draft.Lot = lotName(at.In(s.Location), product, n)
		}
		if _, err := s.Records.Append(ctx, draft); named || n == mostOfADay || !errors.Is(err, cook.ErrConflict) {
			return draft.Lot, RecordError(err)
		}
	}
}

// lotName makes a name such as 26-11-25-brisket, or 26-11-25-brisket-2 for the second of the day.
func lotName(day time.Time, product string, n int) cook.LotID {
	slug := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(product[:min(len(product), 30)]))
	words := strings.FieldsFunc(slug, func(r rune) bool { return r == '-' })
	if len(words) == 0 {
		words = []string{"lot"}
	}
	name := day.Format("06-01-02") + "-" + strings.Join(words, "-")
	if n > 1 {
		name = fmt.Sprintf("%s-%d", name, n)
	}
	return cook.LotID(name)
}

// RecordError turns what the records say does not fit into a problem in their words; nil stays nil, and other errors stay as they are.
func RecordError(err error) error {
	switch {
	case errors.Is(err, record.ErrDraft):
		return problem.Bad("%s", problem.ClipTo(strings.TrimPrefix(err.Error(), record.ErrDraft.Error()+": "), 2000))
	case errors.Is(err, cook.ErrNotFound):
		return problem.New(http.StatusNotFound, "Not found", problem.ClipTo(err.Error(), 500))
	case errors.Is(err, cook.ErrConflict):
		return problem.New(http.StatusConflict, "Conflict", problem.ClipTo(strings.TrimPrefix(err.Error(), cook.ErrConflict.Error()+": "), 500))
	}
	return err
}
