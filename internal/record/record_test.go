package record

import (
	"errors"
	"strings"
	"testing"
	"time"

	"stallkeeper/internal/cook"
)

// monday is when the stories begin.
var monday = time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC)

// book is a journal in memory.
type book struct {
	t       testing.TB
	entries []Entry
	now     time.Time
}

func newBook(t testing.TB) *book { return &book{t: t, now: monday} }

// try enters a draft as the store does.
func (b *book) try(d Draft) (Entry, error) {
	b.t.Helper()
	var prev Hash
	if n := len(b.entries); n > 0 {
		prev = b.entries[n-1].Hash
	}
	e, err := d.Make(int64(len(b.entries)+1), prev, b.now)
	if err != nil {
		return e, err
	}
	if err := b.lot(d.Lot).Accepts(e); err != nil {
		return e, err
	}
	b.entries = append(b.entries, e)
	return e, nil
}

func (b *book) mustEnter(d Draft) Entry {
	b.t.Helper()
	e, err := b.try(d)
	if err != nil {
		b.t.Fatalf("enter %+v: %v", d, err)
	}
	return e
}

// says is a draft of the lot by KM, now.
func says(body Body) Draft {
	return Draft{Lot: "m1", Maker: Maker{By: "KM", Auth: AuthPIN}, Body: body}
}

func (d Draft) by(who string) Draft {
	d.By = who
	return d
}

func (d Draft) correcting(seq int64, reason string) Draft {
	d.Corrects, d.Reason = seq, reason
	return d
}

func (b *book) lot(id cook.LotID) *Lot {
	b.t.Helper()
	var own []Entry
	for _, e := range b.entries {
		if e.Lot == id {
			own = append(own, e)
		}
	}
	l, err := Fold(own)
	if err != nil {
		b.t.Fatal(err)
	}
	return l
}

// A brisket on its way from the delivery to the shop window.
func TestLot_GoesThroughItsStages(t *testing.T) {
	b := newBook(t)
	b.mustEnter(says(Opened{Product: "cured brisket", Class: Refrigerated, Pieces: []Piece{{ID: "flat", Cut: "brisket_flat_cured", Intact: true}}}))
	b.mustEnter(says(RawMaterial{Name: "beef brisket", Supplier: "the abattoir", Reference: "4711", MassKg: 3.4}))
	b.mustEnter(says(Weighed{Piece: "flat", When: WhenRaw, MassKg: 3.4, Instrument: "floor scale"}))
	wrong := b.mustEnter(says(Weighed{Piece: "flat", When: WhenTrimmed, MassKg: 31, Instrument: "floor scale"}))
	b.mustEnter(says(Weighed{Piece: "flat", When: WhenTrimmed, MassKg: 3.1, Instrument: "floor scale"}).correcting(wrong.Seq, "comma forgotten"))
	b.mustEnter(says(Formulation{Name: "brine 10 %", Formula: raw(`{"salt_g": 300.0, "water_g": 2700}`)}))
	b.mustEnter(says(StageStarted{Stage: cook.StageCure, Piece: "flat", Probes: []cook.ProbeID{"cooler"}}))
	b.now = monday.Add(6 * 24 * time.Hour)
	b.mustEnter(says(StageEnded{Stage: cook.StageCure, Piece: "flat"}))
	b.mustEnter(says(StageStarted{Stage: cook.StageSmoke, Probes: []cook.ProbeID{"core", "pit"}, Cook: 12}))

	l := b.lot("m1")
	if l.Product != "cured brisket" || l.OpenedBy != "KM" || !l.Running() || len(l.Pieces) != 1 || len(l.Raw) != 1 {
		t.Errorf("lot = %+v", l)
	}
	if len(l.Weights) != 2 || l.Weights[1].Body.MassKg != 3.1 || l.Weights[1].First != wrong.Seq || l.Replaced(wrong.Seq) == 0 {
		t.Errorf("weights = %+v, want the corrected one", l.Weights)
	}
	if got := string(l.Formulations[0].Body.Formula); got != `{"salt_g":300,"water_g":2700}` {
		t.Errorf("formula = %s", got)
	}
	watches := l.Watches()
	if len(watches) != 2 || watches[0].Until != b.now || !watches[1].Until.IsZero() || !watches[0].Intact || !watches[1].Intact {
		t.Errorf("watches = %+v", watches)
	}
	if !watches[0].Out.IsZero() || !watches[1].Out.Equal(watches[0].Until) {
		t.Errorf("out of the cold since %v and %v, want never and the end of the cure", watches[0].Out, watches[1].Out)
	}
	b.mustEnter(says(StageEnded{Stage: cook.StageSmoke}))
	b.now = b.now.Add(time.Hour)
	b.mustEnter(says(StageStarted{Stage: cook.StageChill, Probes: []cook.ProbeID{"core"}}))
	if w := b.lot("m1").Watches()[2]; !w.Out.Equal(watches[0].Until) || !w.From.Equal(b.now) {
		t.Errorf("the chill: %+v, want it out of the cold since the cure ended", w)
	}
}

// What somebody enters that cannot be is refused with a word on what to do.
func TestDraft_RefusesNonsense(t *testing.T) {
	b := newBook(t)
	b.mustEnter(says(Opened{Product: "brisket", Pieces: []Piece{{ID: "flat"}}}))
	for name, d := range map[string]Draft{
		"negative":     says(Weighed{When: WhenRaw, MassKg: -1}),
		"weightless":   says(Weighed{When: WhenRaw}),
		"no step":      says(Weighed{MassKg: 1}),
		"control":      says(Note{Text: "a\x07b"}),
		"turned":       says(Note{Text: "a\u202eb"}),
		"broken UTF-8": says(Note{Text: "a\xffb"}),
		"megabyte":     says(Note{Text: strings.Repeat("x", 1<<20)}),
		"by control":   says(Note{Text: "x"}).by("K\nM"),
		"nobody":       says(Note{Text: "x"}).by(" "),
		"future":       {Lot: "m1", Maker: Maker{By: "KM", Auth: AuthPIN}, At: monday.Add(time.Hour), Body: Note{Text: "x"}},
		"past":         {Lot: "m1", Maker: Maker{By: "KM", Auth: AuthPIN}, At: time.Unix(-1, 0), Body: Note{Text: "x"}},
		"no auth":      {Lot: "m1", Maker: Maker{By: "KM"}, Body: Note{Text: "x"}},
		"no body":      {Lot: "m1", Maker: Maker{By: "KM", Auth: AuthPIN}},
		"lot name":     {Lot: "m 1", Maker: Maker{By: "KM", Auth: AuthPIN}, Body: Note{Text: "x"}},
		"no reason":    says(Opened{Product: "y"}).correcting(1, ""),
		"other kind":   says(Note{Text: "x"}).correcting(1, "why"),
		"piece":        says(Weighed{Piece: "other", When: WhenRaw, MassKg: 1}),
		"unknown lot":  {Lot: "m2", Maker: Maker{By: "KM", Auth: AuthPIN}, Body: Note{Text: "x"}},
		"open twice":   says(Opened{Product: "y"}),
		"not running":  says(StageEnded{Stage: cook.StageCure}),
		"no deviation": says(CorrectiveAction{Deviation: 1, Cause: "a", Control: "b", Prevention: "c", Disposition: Released}),
		"half action":  says(CorrectiveAction{Deviation: 1, Cause: "a", Disposition: Released}),
		"no value":     says(Monitoring{Verdict: Met}),
		"formula":      says(Formulation{Name: "x", Formula: raw(`{"a":1,"a":2}`)}),
		"deep formula": says(Formulation{Name: "x", Formula: raw(strings.Repeat(`{"a":`, 60) + "1" + strings.Repeat("}", 60))}),
	} {
		if _, err := b.try(d); err == nil {
			t.Errorf("%s: accepted", name)
		} else if strings.Contains(err.Error(), "\x07") || len(err.Error()) > 400 {
			t.Errorf("%s: error repeats what was sent: %.80s", name, err)
		}
	}
	if len(b.entries) != 1 {
		t.Errorf("%d entries, want 1", len(b.entries))
	}
}

// A deviation stands open until a person answers it; then somebody else may let the lot go.
func TestLot_LeavesOnlyAfterActionAndReview(t *testing.T) {
	b := newBook(t)
	b.mustEnter(says(Opened{Product: "brisket"}))
	dev := b.mustEnter(Draft{Lot: "m1", Maker: Maker{By: "daemon", Auth: AuthDaemon}, Body: Deviation{What: "cooling took 2 h 20 min to 21 °C", ControlPoint: ControlPoint{CCP: "4 chilling"}}})
	if _, err := b.try(says(Review{Ship: true}).by("ST")); !errors.Is(err, cook.ErrConflict) {
		t.Errorf("review with an open deviation: %v, want a conflict", err)
	}
	action := CorrectiveAction{Deviation: dev.Seq, Cause: "the fan stood still", Control: "fan replaced", Prevention: "checked each week", Disposition: Destroyed}
	if _, err := b.try(Draft{Lot: "m1", Maker: Maker{By: "daemon", Auth: AuthDaemon}, Body: action}); !errors.Is(err, cook.ErrConflict) {
		t.Errorf("action by the daemon: %v, want a conflict", err)
	}
	done := b.mustEnter(says(action))
	if _, err := b.try(says(action)); !errors.Is(err, cook.ErrConflict) {
		t.Errorf("second action: %v, want a conflict", err)
	}
	b.mustEnter(says(action).correcting(done.Seq, "spelling"))
	if _, err := b.try(says(Review{Ship: true}).by("km")); !errors.Is(err, cook.ErrConflict) {
		t.Errorf("review of one's own records: %v, want a conflict", err)
	}
	review := b.mustEnter(says(Review{Ship: true}).by("ST"))
	l := b.lot("m1")
	if got, ok := l.Review(); !ok || got.Seq != review.Seq || len(l.OpenDeviations()) != 0 {
		t.Errorf("review = %+v, %v", got, ok)
	}
	b.mustEnter(says(Weighed{When: WhenSliced, MassKg: 2}))
	if _, ok := b.lot("m1").Review(); ok {
		t.Error("the review still holds after another entry")
	}
}

// A deviation that is corrected keeps its action.
func TestLot_ActionFollowsCorrectedDeviation(t *testing.T) {
	b := newBook(t)
	b.mustEnter(says(Opened{Product: "brisket"}))
	dev := b.mustEnter(says(Deviation{What: "to warm"}))
	b.mustEnter(says(CorrectiveAction{Deviation: dev.Seq, Cause: "a", Control: "b", Prevention: "c", Disposition: Held}))
	b.mustEnter(says(Deviation{What: "too warm"}).correcting(dev.Seq, "spelling"))
	l := b.lot("m1")
	if len(l.Deviations) != 1 || l.Deviations[0].Open() || l.Deviations[0].Body.What != "too warm" {
		t.Errorf("deviations = %+v", l.Deviations)
	}
}

func TestLot_WithdrawnEntriesDoNotCount(t *testing.T) {
	b := newBook(t)
	b.mustEnter(says(Opened{Product: "brisket"}))
	started := b.mustEnter(says(StageStarted{Stage: cook.StageCure}))
	b.mustEnter(says(Withdrawal{}).correcting(started.Seq, "wrong lot"))
	if l := b.lot("m1"); len(l.Stages) != 0 || len(l.Entries) != 3 {
		t.Errorf("stages = %+v", l.Stages)
	}
	if _, err := b.try(says(StageStarted{Stage: cook.StageDry}).correcting(started.Seq, "again")); !errors.Is(err, cook.ErrConflict) {
		t.Errorf("correcting what was withdrawn: %v, want a conflict", err)
	}
}

// A corrected time does not turn a stage round, and what the daemon judged from measurements is not talked away.
func TestLot_CorrectionsKeepSense(t *testing.T) {
	b := newBook(t)
	b.mustEnter(says(Opened{Product: "brisket"}))
	at := func(d Draft, hours int) Draft {
		d.At = monday.Add(time.Duration(hours-10) * time.Hour)
		return d
	}
	start := b.mustEnter(at(says(StageStarted{Stage: cook.StageCure}), 1))
	end := b.mustEnter(at(says(StageEnded{Stage: cook.StageCure}), 3))
	if _, err := b.try(at(says(StageStarted{Stage: cook.StageCure}).correcting(start.Seq, "clock"), 4)); !errors.Is(err, cook.ErrConflict) {
		t.Errorf("start behind the end: %v", err)
	}
	if _, err := b.try(at(says(StageEnded{Stage: cook.StageCure}).correcting(end.Seq, "clock"), 0)); !errors.Is(err, cook.ErrConflict) {
		t.Errorf("end before the start: %v", err)
	}
	b.mustEnter(at(says(StageStarted{Stage: cook.StageCure}).correcting(start.Seq, "clock"), 2))
	if s := b.lot("m1").Stages; len(s) != 1 || s[0].Until.Sub(s[0].From) != time.Hour {
		t.Errorf("stages = %+v", s)
	}
	dev := b.mustEnter(Draft{Lot: "m1", Maker: Maker{By: "daemon", Auth: AuthDaemon}, Body: Deviation{What: "too warm"}})
	for _, d := range []Draft{says(Withdrawal{}).correcting(dev.Seq, "never"), says(Deviation{What: "fine"}).correcting(dev.Seq, "never")} {
		if _, err := b.try(d); !errors.Is(err, cook.ErrConflict) {
			t.Errorf("deviation of the daemon talked away: %v", err)
		}
	}
}

func TestLot_KeepsItsRecords(t *testing.T) {
	for class, years := range map[Class]int{Refrigerated: 1, Frozen: 2, ShelfStable: 2, "": 2} { // 9 CFR 417.5(e)(1), from memory
		b := newBook(t)
		b.mustEnter(says(Opened{Product: "brisket", Class: class}))
		if !b.lot("m1").KeepUntil(0).IsZero() {
			t.Errorf("%s: an open lot has an end", class)
		}
		b.mustEnter(says(Closed{}))
		if got := b.lot("m1").KeepUntil(0); !got.Equal(monday.AddDate(years, 0, 0)) {
			t.Errorf("KeepUntil of %q = %v, want %d years", class, got, years)
		}
		if got := b.lot("m1").KeepUntil(5); !got.Equal(monday.AddDate(5, 0, 0)) {
			t.Errorf("KeepUntil(5) of %q = %v", class, got)
		}
	}
}
