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
		words, err := parsePiece(text, nil)
		if err == nil {
			name := []pieceWords{words}
			err = name[0].setCure(7, false, 0)
			words = name[0]
		}
		if err == nil {
			err = plan.Request{Now: now, Serve: now.AddDate(0, 0, 20), Pit: 107, Pieces: []plan.Piece{words.Piece}}.Validate()
		}
		if err != nil && strings.TrimSpace(err.Error()) == "" {
			t.Errorf("%q is refused without a word", text)
		}
		if err == nil && !(words.MassKg > 0 && words.Target > 0) {
			t.Errorf("%q is taken as %+v", text, words.Piece)
		}
	})
}
