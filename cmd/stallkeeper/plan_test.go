package main

import (
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/plan"
)

// Whatever is written for a piece either makes one that the planner takes or refuses in words, or is refused in one line.
func FuzzParsePiece(f *testing.F) {
	for _, seed := range []string{
		"cut=brisket_flat_cured,mass=2.5kg,thickness=50mm,target=92C", "id=a,cut=other,mass=6lb,target=195F,wrap=paper@68C,frozen=yes,cure=no",
		"cut=pork_loin,mass=1e308kg,target=NaNC", "cut=brisket_flat,mass=2kg,target=92C,done=cure-start@2026-04-24T10:00:00+02:00", ",,=,=", "mass=2,5kg",
	} {
		f.Add(seed)
	}
	now := time.Date(2026, 4, 20, 9, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, text string) {
		piece, err := parsePiece(text, nil)
		if err == nil {
			var r plan.Request
			order := plan.Order{Serve: now.AddDate(0, 0, 20), Pit: 107, CureDays: 7, Pieces: []plan.OrderPiece{piece}}
			if r, err = order.Request(now, nil); err == nil {
				err = r.Validate()
			}
		}
		if err != nil && strings.TrimSpace(err.Error()) == "" {
			t.Errorf("%q is refused without a word", text)
		}
		if err == nil && !(piece.MassKg > 0 && piece.Target > 0) {
			t.Errorf("%q is taken as %+v", text, piece)
		}
	})
}
