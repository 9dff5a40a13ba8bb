package record

import (
	"errors"
	"math"
	"testing"

	"stallkeeper/internal/cook"
)

func TestStock_OnlyWhatIsThereIsTaken(t *testing.T) {
	b := newBook(t)
	b.mustEnter(says(Opened{Product: "brisket"}))
	in := b.mustEnter(says(Portioned{Portions: 8, MassKg: .25, Kept: InFreezer, Where: "freezer 2"}))
	first := b.mustEnter(says(Taken{From: in.Seq, Portions: 5, Why: "served"}))
	if _, err := b.try(says(Taken{From: in.Seq, Portions: 4})); !errors.Is(err, cook.ErrConflict) {
		t.Errorf("4 of 3: %v, want ErrConflict", err)
	}
	if _, err := b.try(says(Taken{From: first.Seq, Portions: 1})); !errors.Is(err, cook.ErrNotFound) {
		t.Errorf("from an entry that put nothing in: %v, want ErrNotFound", err)
	}
	// Corrections count: it was 2 that were taken, and 7 that were put in.
	b.mustEnter(says(Taken{From: in.Seq, Portions: 2}).correcting(first.Seq, "miscounted"))
	b.mustEnter(says(Portioned{Portions: 7, Kept: InFreezer}).correcting(in.Seq, "miscounted"))
	if l := b.lot("m1"); len(l.Stock) != 1 || l.Stock[0].Left != 5 {
		t.Errorf("stock %+v, want 5 left", l.Stock)
	}
	b.mustEnter(says(Closed{}))
	b.mustEnter(says(Taken{From: in.Seq, Portions: 5, Why: "sold"})) // a closed lot is still eaten
	if l := b.lot("m1"); l.Stock[0].Left != 0 {
		t.Errorf("stock %+v, want none left", l.Stock)
	}
}

func TestStock_RefusesNonsense(t *testing.T) {
	for _, body := range []Body{Portioned{Portions: 0, Kept: InFreezer}, Portioned{Portions: 3, Kept: "warm"}, Portioned{Portions: 3, Kept: InCooler, MassKg: -1},
		Portioned{Portions: 3, Kept: InCooler, UseBy: monday}, Taken{Portions: 1}, Taken{From: 1, Portions: -2}, Planned{},
		RawMaterial{Name: "brisket", Reference: "L1", Price: -3, Currency: "EUR"}, RawMaterial{Name: "brisket", Reference: "L1", Price: 30, Currency: "€"}} {
		if body.Validate() == nil {
			t.Errorf("%+v is taken", body)
		}
	}
}

// By hand: raw 4.0 kg at 12 a kilogram, trimmed 3.2 (80 %), cured 3.36 (105 %), smoked 2.24 (66.7 %), sliced 2.128 (95 %). The fat of 0.8 kg
// counts: (2.128 + 0.8) / 4 = 73.2 % are used; 48 over 2.128 kg is 22.56 a kilogram.
func TestYield_ByHand(t *testing.T) {
	b := newBook(t)
	b.mustEnter(says(Opened{Product: "brisket", Pieces: []Piece{{ID: "a"}, {ID: "b"}}}))
	b.mustEnter(says(RawMaterial{Name: "brisket", Reference: "L1", Price: 48, Currency: "EUR"}))
	for _, w := range []Weighed{{When: WhenRaw, MassKg: 4}, {When: WhenTrimmed, Piece: "a", MassKg: 2}, {When: WhenTrimmed, Piece: "b", MassKg: 1.2},
		{When: WhenCured, Piece: "a", MassKg: 2.1}, {When: WhenCured, Piece: "b", MassKg: 1.26}, {When: WhenSmoked, Piece: "a", MassKg: 1.4}, {When: WhenSmoked, Piece: "b", MassKg: .84},
		{When: WhenSliced, MassKg: 2.128}} {
		b.mustEnter(says(w))
	}
	y := b.lot("m1").Yield()
	for _, test := range []struct {
		from, to When
		want     float64
	}{{WhenRaw, WhenTrimmed, .8}, {WhenTrimmed, WhenCured, 1.05}, {WhenCured, WhenSmoked, 2.24 / 3.36}, {WhenTrimmed, WhenSmoked, .7}, {WhenSmoked, WhenSliced, .95}, {WhenRaw, WhenSliced, .532}} {
		if got := y.Of(test.from, test.to); math.Abs(got-test.want) > 1e-9 {
			t.Errorf("%s to %s: %v, want %v", test.from, test.to, got, test.want)
		}
	}
	if math.Abs(y.FatKg-.8) > 1e-9 || math.Abs(y.Used-.732) > 1e-9 || math.Abs(y.PerKg-22.556) > 1e-3 || y.Currency != "EUR" || y.Last != WhenSliced {
		t.Errorf("%+v", y)
	}
}

// Raw 4 kg, trimmed 3.2, cured 3.36: with the fat that is 104 % of the raw meat, because brine weighs with it. Nothing is made of it yet.
func TestYield_NothingIsUsedBeforeTheSmoke(t *testing.T) {
	b := newBook(t)
	b.mustEnter(says(Opened{Product: "brisket", Pieces: []Piece{{ID: "a"}}}))
	for _, w := range []Weighed{{When: WhenRaw, MassKg: 4}, {When: WhenTrimmed, MassKg: 3.2}, {When: WhenCured, MassKg: 3.36}} {
		b.mustEnter(says(w))
	}
	if y := b.lot("m1").Yield(); y.Last != WhenCured || math.Abs(y.FatKg-.8) > 1e-9 || y.Used != 0 {
		t.Errorf("%+v", y)
	}
}

// A piece that was not weighed after the smoke does not count as lost.
func TestYield_ComparesTheSameMeat(t *testing.T) {
	b := newBook(t)
	b.mustEnter(says(Opened{Product: "brisket", Pieces: []Piece{{ID: "a"}, {ID: "b"}}}))
	for _, w := range []Weighed{{When: WhenTrimmed, Piece: "a", MassKg: 2}, {When: WhenTrimmed, Piece: "b", MassKg: 3}, {When: WhenSmoked, Piece: "a", MassKg: 1.2}} {
		b.mustEnter(says(w))
	}
	if y := b.lot("m1").Yield(); math.Abs(y.Of(WhenTrimmed, WhenSmoked)-.6) > 1e-9 || y.Used != 0 || y.PerKg != 0 {
		t.Errorf("%+v", y)
	}
}
