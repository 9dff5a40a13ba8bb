package shop_test

import (
	"errors"
	"testing"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/shop"
	"stallkeeper/internal/web/webtest"
)

// books is a night's shop with records in a store. Its now is 26 November, 02:14 in Chicago.
func books(t *testing.T) shop.Shop {
	s := webtest.NewNight(t).Shop(t)
	webtest.Books(t)(&s)
	return s
}

// km makes the entries.
var km = record.Maker{By: "KM", Auth: record.AuthSaid}

func mustOpen(t *testing.T, s shop.Shop, product string) cook.LotID {
	t.Helper()
	id, err := s.OpenLot(t.Context(), record.Draft{Maker: km, Body: record.Opened{Product: product}}, product, s.Now())
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func statusOf(err error) int { return problem.Of(err).Status }

func TestOpenLot_NamesItByDayAndProduct(t *testing.T) {
	s := books(t)
	for i, want := range []cook.LotID{"26-11-26-beef-brisket", "26-11-26-beef-brisket-2", "26-11-26-beef-brisket-3"} {
		if got := mustOpen(t, s, "Beef / Brisket"); got != want {
			t.Errorf("lot %d is %s, want %s", i+1, got, want)
		}
	}
	if got := mustOpen(t, s, "ñandú"); got != "26-11-26-and" {
		t.Errorf("lot of ñandú = %s", got)
	}
	if got := mustOpen(t, s, "鹿"); got != "26-11-26-lot" {
		t.Errorf("lot without a letter for its name = %s", got)
	}
	_, err := s.OpenLot(t.Context(), record.Draft{Lot: "26-11-26-lot", Maker: km, Body: record.Opened{Product: "x"}}, "x", s.Now())
	if statusOf(err) != 409 {
		t.Errorf("opened twice: %v, want a conflict", err)
	}
}

func TestMoveStage_EndsWhatRunsAndStartsTheNext(t *testing.T) {
	s := books(t)
	id := mustOpen(t, s, "Pastrami")
	move := func(m shop.StageMove) (string, error) {
		_, warning, err := s.MoveStage(t.Context(), id, m, km)
		return warning, err
	}
	if _, err := move(shop.StageMove{}); statusOf(err) != 409 {
		t.Errorf("nothing runs: %v, want a conflict", err)
	}
	if warning, err := move(shop.StageMove{To: cook.StageCure}); err != nil || warning == "" {
		t.Errorf("a cure that no probe watches: %q, %v; want a warning", warning, err)
	}
	if warning, err := move(shop.StageMove{To: cook.StageSmoke, Cook: 7}); err != nil || warning != "" {
		t.Errorf("smoked in cook 7: %q, %v", warning, err)
	}
	lot, err := s.Records.Lot(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	if len(lot.Stages) != 2 || lot.Stages[0].Until.IsZero() || !lot.Stages[1].Until.IsZero() || len(lot.Stages[1].Probes) != 3 {
		t.Errorf("stages = %+v, want the cure ended and the smoking watched by the cook's three probes", lot.Stages)
	}
	if _, err := move(shop.StageMove{To: cook.StageHold, Piece: "flat"}); statusOf(err) != 409 {
		t.Errorf("a piece of a stage of the whole lot: %v, want a conflict", err)
	}
}

// What was logged in a cook stands once in the timeline, also when two stages name that cook.
func TestTimeline_TellsACookOnce(t *testing.T) {
	s := books(t)
	id := mustOpen(t, s, "Pastrami")
	for i, stage := range []cook.Stage{cook.StageSmoke, cook.StageHold} {
		if _, _, err := s.MoveStage(t.Context(), id, shop.StageMove{To: stage, Cook: 7, At: s.Now().Add(time.Duration(i-2) * time.Minute)}, km); err != nil {
			t.Fatal(err)
		}
	}
	lot, err := s.Records.Lot(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	moments, err := s.Timeline(t.Context(), lot)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[shop.Moment]int{}
	for _, m := range moments {
		if seen[m]++; seen[m] > 1 {
			t.Errorf("%s is told %d times", m.What, seen[m])
		}
	}
	if len(moments) < 4 {
		t.Errorf("%d moments, want the stages and what was logged in the cook", len(moments))
	}
}

// What went in first goes out first, whichever lot it is of; more than there is goes out not at all.
func TestTakeOut_TheOldestFirst(t *testing.T) {
	s := books(t)
	id := mustOpen(t, s, "Pastrami")
	for i, n := range []int{2, 3} {
		in := shop.StockIn{Lot: id, Portions: n, Kept: record.InFreezer, At: s.Now().Add(time.Duration(i-2) * time.Hour)}
		if _, err := s.PutIn(t.Context(), in, km); err != nil {
			t.Fatal(err)
		}
	}
	taken, err := s.TakeOut(t.Context(), shop.StockOut{Product: "Pastrami", Portions: 4}, km)
	if err != nil || len(taken) != 2 || taken[0].Portions != 2 || taken[1].Portions != 2 || !taken[0].From.At.Before(taken[1].From.At) {
		t.Fatalf("taken = %+v, %v; want 2 of the first and 2 of the second batch", taken, err)
	}
	if _, err := s.TakeOut(t.Context(), shop.StockOut{Portions: 2}, km); statusOf(err) != 409 {
		t.Errorf("2 of the 1 that is left: %v, want a conflict", err)
	}
	stock, err := s.Stock(t.Context())
	if err != nil || len(stock) != 1 || stock[0].Left != 1 {
		t.Errorf("in stock %+v, %v; want one portion", stock, err)
	}
	var said *problem.Error
	if _, err := s.PutIn(t.Context(), shop.StockIn{Lot: id, Portions: 1, Kept: record.InFreezer, Made: s.Now().Add(time.Hour)}, km); !errors.As(err, &said) {
		t.Errorf("made in an hour: %v, want a refusal", err)
	}
}
