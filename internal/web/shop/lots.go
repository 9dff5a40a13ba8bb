package shop

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/problem"
)

// LotName makes a name such as 26-11-25-brisket, or 26-11-25-brisket-2 for the second of the day.
func LotName(day time.Time, product string, n int) cook.LotID {
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

// RecordError tells the sender what does not fit, in the words of those who know.
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
