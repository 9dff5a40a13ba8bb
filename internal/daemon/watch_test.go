package daemon

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/metrics"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/record"
	"stallkeeper/internal/store"
)

var supperTime = time.Date(2026, 5, 2, 18, 0, 0, 0, time.UTC)

// bench is a watch on a real store, without a broker and without pages.
type bench struct {
	t    *testing.T
	db   *store.DB
	w    *watch
	desk *desk
	now  time.Time
}

func newBench(t *testing.T) *bench {
	t.Helper()
	b := &bench{t: t, now: supperTime.Add(3 * time.Hour)}
	log := slog.New(slog.NewTextHandler(t.Output(), nil))
	clock := func() time.Time { return b.now }
	var err error
	if b.db, err = store.Open(t.Context(), t.TempDir()+"/"+store.FileName, store.Options{Log: log, Now: clock}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.db.Close(); err != nil {
			t.Error(err)
		}
	})
	core := monitor.New(monitor.Options{Estimator: estimator.New(estimator.DefaultPrior()), Settings: alarm.DefaultSettings(), Zone: time.UTC})
	b.w = newWatch(core, b.db, log, clock)
	b.w.publish = func(string, []byte) {}
	b.w.link = func() monitor.IntakeView { return monitor.IntakeView{Connected: true} }
	b.w.stats = func() ingest.Stats { return ingest.Stats{} }
	if b.w.measured, err = metrics.New(prometheus.NewRegistry(), b.w, "test"); err != nil {
		t.Fatal(err)
	}
	b.desk = &desk{b.db, b.w, nil, clock}
	return b
}

// run starts store and watch; the function that it gives stops them in order.
func (b *bench) run() (stop func()) {
	ctx, cancel := context.WithCancel(b.t.Context())
	ended := make(chan error, 1)
	go func() { ended <- runStages(ctx, []stage{{"store", b.db.Run}, {"watch", b.w.Run}}) }()
	return func() {
		b.t.Helper()
		cancel()
		if err := <-ended; err != nil {
			b.t.Error(err)
		}
	}
}

// measure keeps a reading a minute from supperTime on.
func (b *bench) measure(probe cook.ProbeID, minutes int, at func(minute int) thermal.Celsius) {
	b.t.Helper()
	kept := make(chan error, minutes)
	for i := range minutes {
		r := cook.Reading{Probe: probe, Time: supperTime.Add(time.Duration(i) * time.Minute), Celsius: at(i), Quality: cook.Good, Clock: cook.DeviceClock, Arrived: b.now}
		if err := b.db.Put(b.t.Context(), store.Item{Reading: r, Done: func(_ store.Outcome, err error) { kept <- err }}); err != nil {
			b.t.Fatal(err)
		}
	}
	for range minutes {
		if err := <-kept; err != nil {
			b.t.Fatal(err)
		}
	}
}

func supper() cook.Cook {
	return cook.Cook{Name: "supper", Started: supperTime, Pit: cook.Pit{SetPoint: 107}, Pieces: []cook.Piece{{ID: "flat", Cut: "brisket_flat", Target: 93, Intact: true}}}
}

func TestWatch_CountsACookFromWhatIsStored(t *testing.T) {
	b := newBench(t)
	stop := b.run()
	defer stop()
	b.measure("pit", 60, func(int) thermal.Celsius { return 107 })
	b.measure("flat", 60, func(i int) thermal.Celsius { return thermal.Celsius(5 + 0.3*float64(i)) })
	id, err := b.desk.StartCook(t.Context(), supper())
	if err != nil {
		t.Fatal(err)
	}
	within(t, "the newest reading in the view", func() bool {
		s := b.w.Snapshot()
		return len(s.Cooks) == 1 && s.Cooks[0].NewestAt.Equal(supperTime.Add(59*time.Minute)) && s.Cooks[0].Pieces[0].Forecasted
	})
	within(t, "a forecast for each minute", func() bool {
		kept, err := b.db.Forecasts(t.Context(), id, "flat", time.Time{}, time.Time{})
		return err == nil && len(kept) == 59
	})
}

// While a cook is counted people are answered and readings are applied; those that came meanwhile are in the count.
func TestWatch_NothingWaitsForACount(t *testing.T) {
	b := newBench(t)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- b.db.Run(ctx) }()
	b.measure("pit", 60, func(int) thermal.Celsius { return 107 })
	b.measure("flat", 40, func(i int) thermal.Celsius { return thermal.Celsius(5 + 0.3*float64(i)) })
	id, err := b.db.CreateCook(ctx, supper(), b.now)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.w.restore(ctx); err != nil {
		t.Fatal(err)
	}
	for b.w.counting == nil {
		if !b.w.countOn(ctx) {
			t.Fatal("nothing is counted")
		}
	}
	b.measure("flat", 60, func(i int) thermal.Celsius { return thermal.Celsius(5 + 0.3*float64(i)) }) // the last twenty are new
	for b.w.step(ctx) {
	}
	done := make(chan error, 1)
	b.w.obey(ctx, command{func(*monitor.State) ([]monitor.Effect, error) { return nil, nil }, done})
	if err := <-done; err != nil || b.w.counting == nil {
		t.Fatalf("a command while cook %d is counted: %v, still counted: %v", id, err, b.w.counting != nil)
	}
	for b.w.countOn(ctx) {
	}
	b.w.show()
	s := b.w.Snapshot()
	if b.w.trouble != nil || len(b.w.owed) > 0 || len(s.Cooks) != 1 || !s.Cooks[0].NewestAt.Equal(supperTime.Add(59*time.Minute)) {
		t.Errorf("after the count: owed %v, trouble %v, cooks %+v", b.w.owed, b.w.trouble, s.Cooks)
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

func TestWatch_HearsOfACookWhoseSenderHasGone(t *testing.T) {
	b := newBench(t)
	id, err := b.db.CreateCook(t.Context(), supper(), b.now)
	if err != nil {
		t.Fatal(err)
	}
	stop := b.run()
	defer stop()
	gone, hangUp := context.WithCancel(t.Context())
	hangUp()
	if err := b.desk.changed(gone, id); err != nil {
		t.Fatal(err)
	}
	within(t, "the cook in the view", func() bool { return len(b.w.Snapshot().Cooks) == 1 })
}

func TestWatch_AnswersNobodyAfterItsEnd(t *testing.T) {
	b := newBench(t)
	b.run()()
	err := b.w.do(t.Context(), func(*monitor.State) ([]monitor.Effect, error) { return nil, nil })
	if !errors.Is(err, errEnded) {
		t.Errorf("do after the end gave %v, want %v", err, errEnded)
	}
}

func TestWatch_KeepsAtTheEndWhatItCouldNotBefore(t *testing.T) {
	b := newBench(t)
	a := alarm.Alarm{ID: "intake", Kind: alarm.IntakeBroken, State: alarm.Active, Priority: alarm.High, Raised: b.now, Changed: b.now}
	b.w.unkept = []monitor.Effect{{Alarm: &monitor.Alarmed{Change: alarm.Change{Alarm: a}}}}
	b.run()()
	open, err := b.db.OpenAlarms(t.Context())
	if err != nil || len(open) != 1 || open[0].ID != "intake" {
		t.Errorf("kept alarms %v, %v; want the one that could not be written", open, err)
	}
}

func TestWatch_ACookThatCannotBeReadStaysOwed(t *testing.T) {
	b := newBench(t)
	id, err := b.db.CreateCook(t.Context(), supper(), b.now)
	if err != nil {
		t.Fatal(err)
	}
	b.w.owed = []cook.ID{id + 1, id} // the first is not there
	for b.w.countOn(t.Context()) {
	}
	if len(b.w.owed) != 2 || b.w.trouble == nil {
		t.Errorf("owed %v, trouble %v; want both cooks owed and the trouble told", b.w.owed, b.w.trouble)
	}
	b.w.note(nil)
	if b.w.trouble == nil {
		t.Error("the trouble was forgotten while cooks still wait")
	}
}

func TestNextBatch_FitsIntoATurn(t *testing.T) {
	for _, row := range []struct {
		size int
		took time.Duration
		want int
	}{
		{500, 3 * time.Second, 125},
		{40, 3 * time.Second, 20}, // not below the smallest
		{125, 300 * time.Millisecond, 125},
		{125, 20 * time.Millisecond, 250},
		{400, time.Millisecond, 500},
	} {
		if got := nextBatch(row.size, row.took); got != row.want {
			t.Errorf("nextBatch(%d, %v) = %d, want %d", row.size, row.took, got, row.want)
		}
	}
}

// A board went before the daemon did: its probes still have it for the cause of their silence afterwards.
func TestWatch_KnowsABoardsProbesAfterARestart(t *testing.T) {
	b := newBench(t)
	stop := b.run()
	b.w.board(ingest.Board{Name: "shed", Online: true, Probes: []cook.ProbeID{"flat", "pit"}}, false)
	b.w.board(ingest.Board{Name: "shed"}, false)
	within(t, "the boards kept", func() bool {
		data, err := b.db.Value(t.Context(), boardsKey)
		return err == nil && strings.Contains(string(data), `"probes":["flat","pit"],"gone":`)
	})
	stop()
	gone := b.now
	b.now = b.now.Add(time.Hour)
	b.restart()
	if got := b.w.core.Boards(); len(got) != 1 || !slices.Equal(got[0].Probes, []cook.ProbeID{"flat", "pit"}) || !got[0].Gone.Equal(gone) {
		t.Errorf("after the restart %+v, want the board with its probes, gone since %v", got, gone)
	}
}

// A probe that nobody declared and that no cook uses stays on the pages over a restart, with its last reading; one of days ago does not.
func TestWatch_RemembersWhoSpokeLately(t *testing.T) {
	b := newBench(t)
	stop := b.run()
	b.now = supperTime.Add(30 * time.Minute)
	b.measure("garage", 30, func(int) thermal.Celsius { return 3 })
	stop()
	after := func(d time.Duration) []monitor.ProbeView {
		b.now = supperTime.Add(d)
		b.restart()
		defer b.run()()
		within(t, "the look back", func() bool { return b.w.Snapshot().Now.Equal(b.now) })
		var out []monitor.ProbeView
		within(t, "who spoke", func() bool {
			out = b.w.Snapshot().Probes
			return len(out) > 0 || d > monitor.RememberFor
		})
		return out
	}
	if got := after(time.Hour); len(got) != 1 || got[0].ID != "garage" || got[0].Last.Celsius != 3 || !got[0].Last.Time.Equal(supperTime.Add(29*time.Minute)) || got[0].Silent {
		t.Errorf("half an hour later %+v, want the garage's last reading and no alarm", got)
	}
	if got := after(26 * time.Hour); len(got) != 0 {
		t.Errorf("a day later %+v, want nothing", got)
	}
}

// The reading that shows carbon monoxide at the ceiling was committed, then the daemon was killed before the watch had seen it, and the
// sensor says no more. It is judged at the start, told once, and what was acknowledged is not told anew by the next start.
func TestWatch_JudgesAtTheStartWhatAKillKeptFromIt(t *testing.T) {
	b := newBench(t)
	begin := func() (stop func()) {
		core := monitor.New(monitor.Options{Settings: alarm.DefaultSettings(), Zone: time.UTC, Roles: map[cook.ProbeID]cook.Role{"co": cook.RoleCO, "fridge": cook.RoleCooler}})
		old := b.w
		b.w = newWatch(core, b.db, old.log, old.now)
		b.w.publish, b.w.link, b.w.stats, b.w.measured = old.publish, old.link, old.stats, old.measured
		b.desk.watch = b.w
		if err := b.w.restore(t.Context()); err != nil {
			t.Fatal(err)
		}
		return b.run()
	}
	stop := b.run() // has no such roles: it commits and judges nothing
	b.now = supperTime.Add(30 * time.Minute)
	b.measure("co", 30, func(i int) thermal.Celsius {
		if i == 29 {
			return 250 // NIOSH: ceiling 200 ppm
		}
		return 5
	})
	b.measure("fridge", 30, func(int) thermal.Celsius { return 3 })
	stop()
	raised := func() []alarm.Alarm {
		open, err := b.db.OpenAlarms(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return open
	}
	stop = begin()
	within(t, "the alarm", func() bool { return len(raised()) == 1 })
	if a := raised()[0]; a.Kind != alarm.CarbonOxide || a.State != alarm.Active || a.Priority != alarm.High || !a.Told || !a.Raised.Equal(supperTime.Add(29*time.Minute)) {
		t.Errorf("raised %+v", a)
	}
	if err := b.w.do(t.Context(), func(m *monitor.State) ([]monitor.Effect, error) {
		return m.Acknowledge("co/co", "KM", b.now)
	}); err != nil {
		t.Fatal(err)
	}
	stop()
	stop = begin()
	within(t, "the newest reading in the view", func() bool {
		return slices.ContainsFunc(b.w.Snapshot().Probes, func(p monitor.ProbeView) bool { return p.ID == "co" && p.Last.Celsius == 250 })
	})
	stop()
	if open := raised(); len(open) != 1 || open[0].State != alarm.Acked {
		t.Errorf("after another start %+v, want the one that was acknowledged", open)
	}
}

// An end while the lots are looked at is no trouble, and nothing for the log.
func TestWatch_AnEndIsNoTrouble(t *testing.T) {
	b := newBench(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	b.w.followLots(ctx)
	b.w.passTime(ctx, false)
	if b.w.trouble != nil {
		t.Errorf("trouble %v", b.w.trouble)
	}
}

// While a stage of a lot is counted the watch goes round, and what was applied meanwhile is in the count: a cooler that warmed up then is out
// of its limits for as long as in a count without a pause.
func TestWatch_NothingWaitsForAStage(t *testing.T) {
	b := newBench(t)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- b.db.Run(ctx) }()
	defer func() { cancel(); <-ended }()
	b.enters(0, record.Opened{Product: "brisket", Pieces: []record.Piece{{ID: "flat", Cut: "brisket_flat_cured", Intact: true}}},
		record.StageStarted{Stage: cook.StageCure, Probes: []cook.ProbeID{"fridge"}})
	warms := func(i int) thermal.Celsius {
		if i < 60 {
			return 3
		}
		return 9
	}
	b.measure("fridge", 90, warms)
	if err := b.w.restore(ctx); err != nil {
		t.Fatal(err)
	}
	for b.w.rewatching == nil {
		if !b.w.countOn(ctx) {
			t.Fatal("nothing is counted")
		}
	}
	b.measure("fridge", 120, warms) // the last thirty are new
	for b.w.step(ctx) {
	}
	if b.w.rewatching == nil {
		t.Fatal("the readings waited for the stage")
	}
	for b.w.countOn(ctx) {
	}
	b.w.show()
	s := b.w.Snapshot().Stages
	if len(s) != 1 || !s[0].At.Equal(supperTime.Add(119*time.Minute)) || s[0].Clocks[0].Used != 57*time.Minute { // the median of five is two minutes behind
		t.Errorf("stages %+v", s)
	}
	if len(b.w.stale) > 0 || b.w.rewatching != nil {
		t.Errorf("still to be counted: %v", b.w.stale)
	}
}
