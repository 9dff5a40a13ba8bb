package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/metrics"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/record"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus"
)

// enters puts bodies into the journal of the brisket's lot, at supperTime and a number of minutes.
func (b *bench) enters(minute int, bodies ...record.Body) {
	b.t.Helper()
	for _, body := range bodies {
		d := record.Draft{Lot: "26-05-02-brisket", At: supperTime.Add(time.Duration(minute) * time.Minute), Maker: record.Maker{By: "KM", Auth: record.AuthSaid}, Body: body}
		if _, err := b.db.Append(b.t.Context(), d); err != nil {
			b.t.Fatal(err)
		}
	}
}

func (b *bench) lot() *record.Lot {
	b.t.Helper()
	l, err := b.db.Lot(b.t.Context(), "26-05-02-brisket")
	if err != nil {
		b.t.Fatal(err)
	}
	return l
}

// restart gives the store to a new watch, as a start of the daemon does.
func (b *bench) restart() {
	b.t.Helper()
	old := b.w
	core := monitor.New(monitor.Options{Settings: alarm.DefaultSettings(), Zone: time.UTC})
	b.w = newWatch(core, b.db, slog.New(slog.NewTextHandler(b.t.Output(), nil)), old.now)
	b.w.publish, b.w.link, b.w.stats = old.publish, old.link, func() ingest.Stats { return ingest.Stats{} }
	var err error
	if b.w.measured, err = metrics.New(prometheus.NewRegistry(), b.w, "test"); err != nil {
		b.t.Fatal(err)
	}
	if err := b.w.restore(b.t.Context()); err != nil {
		b.t.Fatal(err)
	}
}

// A cooler that fails during a cure is in the journal as a deviation, entered once whatever is restarted; the end of the stage is judged.
func TestWatch_ACureThatWarmsUpIsInTheJournalOnce(t *testing.T) {
	b := newBench(t)
	b.enters(0, record.Opened{Product: "brisket", Pieces: []record.Piece{{ID: "flat", Cut: "brisket_flat_cured", Intact: true}}},
		record.StageStarted{Stage: cook.StageCure, Probes: []cook.ProbeID{"fridge"}})
	stop := b.run()
	b.measure("fridge", 120, func(i int) thermal.Celsius {
		if i < 60 {
			return 3
		}
		return 9
	})
	within(t, "the deviation", func() bool { return len(b.lot().Deviations) == 1 })
	d := b.lot().Deviations[0]
	if want := "curing-cooler cold-holding"; d.Body.Rule != want || d.Body.Stage != cook.StageCure || !d.Open() || d.Auth != record.AuthDaemon {
		t.Errorf("deviation %+v, want an open one of rule %s", d.Body, want)
	}
	if want := supperTime.Add(62 * time.Minute); !d.Body.From.Equal(want) { // the median of five is warm two minutes later
		t.Errorf("from %v, want %v", d.Body.From, want)
	}
	stop()

	b.restart()
	stop = b.run()
	within(t, "the clock after the restart", func() bool {
		s := b.w.Snapshot().Stages
		return len(s) == 1 && len(s[0].Clocks) == 1 && s[0].Clocks[0].State == monitor.ClockMissed
	})
	if n := len(b.lot().Deviations); n != 1 {
		t.Errorf("%d deviations after the restart, want 1", n)
	}
	b.enters(150, record.StageEnded{Stage: cook.StageCure})
	within(t, "the judgement of the stage", func() bool { return len(b.lot().Monitoring) == 1 })
	if m := b.lot().Monitoring[0].Body; m.Verdict != record.Missed || m.Instrument != "fridge" {
		t.Errorf("judged %+v, want missed by the fridge's probe", m)
	}
	within(t, "an empty view", func() bool { return len(b.w.Snapshot().Stages) == 0 })
	stop()
}

// Who ends a stage and closes the lot in one go, or closes it while a stage runs, does not get around the judgement.
func TestWatch_AClosedLotIsJudgedToo(t *testing.T) {
	for name, last := range map[string][]record.Body{
		"ended and closed": {record.StageEnded{Stage: cook.StageCure}, record.Closed{}},
		"closed only":      {record.Closed{}},
	} {
		for _, running := range []bool{true, false} {
			b := newBench(t)
			b.enters(0, record.Opened{Product: "brisket", Pieces: []record.Piece{{ID: "flat", Cut: "brisket_flat_cured", Intact: true}}},
				record.StageStarted{Stage: cook.StageCure, Probes: []cook.ProbeID{"fridge"}})
			stop := b.run()
			b.measure("fridge", 120, func(int) thermal.Celsius { return 3 })
			within(t, "the clock", func() bool { s := b.w.Snapshot().Stages; return len(s) == 1 && len(s[0].Clocks) == 1 })
			if !running {
				stop()
			}
			b.enters(121, last...)
			if !running { // the daemon was down meanwhile
				b.restart()
				stop = b.run()
			}
			within(t, "the judgement", func() bool { return len(b.lot().Monitoring) == 1 })
			if m := b.lot().Monitoring[0].Body; m.Verdict != record.Met {
				t.Errorf("%s: judged %+v, want met", name, m)
			}
			stop()
		}
	}
}

// counting counts how often a lot is folded.
type counting struct {
	lotReader
	folds int
}

func (c *counting) Lot(ctx context.Context, id cook.LotID) (*record.Lot, error) {
	c.folds++
	return c.lotReader.Lot(ctx, id)
}

// Forty lots that nobody ever closes: an entry in one of them folds that one again and no other, what is withdrawn is let go, and what
// comes out is what a start would find.
func TestJournalStages_FoldsOnlyWhatHasNewEntries(t *testing.T) {
	b := newBench(t)
	enter := func(lot cook.LotID, minute int, body record.Body) record.Entry {
		t.Helper()
		made, err := b.db.Append(t.Context(), record.Draft{Lot: lot, At: supperTime.Add(time.Duration(minute) * time.Minute), Maker: record.Maker{By: "KM", Auth: record.AuthSaid}, Body: body})
		if err != nil {
			t.Fatal(err)
		}
		return made[0]
	}
	lot := func(i int) cook.LotID { return cook.LotID(fmt.Sprintf("lot-%d", i)) }
	var began []record.Entry
	for i := range 40 {
		enter(lot(i), 0, record.Opened{Product: "brisket"})
		began = append(began, enter(lot(i), 1, record.StageStarted{Stage: cook.StageCure, Probes: []cook.ProbeID{"fridge"}}))
	}
	empty := enter("empty", 2, record.Opened{Product: "brisket"})
	c := &counting{lotReader: b.db}
	read := journalStages(c)
	stages, head, err := read(t.Context(), -1)
	if err != nil || len(stages) != 40 || c.folds != 0 {
		t.Fatalf("%d stages at the start, %d single folds, %v", len(stages), c.folds, err)
	}
	enter(lot(3), 30, record.Note{Text: "turned"})
	enter(lot(3), 31, record.StageEnded{Stage: cook.StageCure})
	enter(lot(4), 32, record.Closed{})
	for _, e := range []record.Entry{began[5], empty} {
		if _, err := b.db.Append(t.Context(), record.Draft{Lot: e.Lot, At: e.At, Maker: record.Maker{By: "KM", Auth: record.AuthSaid}, Body: record.Withdrawal{}, Corrects: e.Seq, Reason: "never happened"}); err != nil {
			t.Fatal(err)
		}
	}
	stages, head, err = read(t.Context(), head)
	if err != nil || c.folds != 4 {
		t.Errorf("%d folds for the entries of four lots, %v", c.folds, err)
	}
	anew, sameHead, err := journalStages(b.db)(t.Context(), -1)
	byLot := func(a, b cook.StageWatch) int { return strings.Compare(string(a.Lot), string(b.Lot)) }
	slices.SortFunc(stages, byLot)
	slices.SortFunc(anew, byLot)
	if diff := cmp.Diff(anew, stages); err != nil || diff != "" || head != sameHead || len(stages) != 39 {
		t.Errorf("%d stages, head %d and %d, %v: %s", len(stages), head, sameHead, err, diff)
	}
	if _, same, err := read(t.Context(), head); err != nil || same != head || c.folds != 4 {
		t.Errorf("an unchanged journal is folded: %d folds, %v", c.folds, err)
	}
}
