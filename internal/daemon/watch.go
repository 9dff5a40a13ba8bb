package daemon

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/metrics"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/notify"
	"stallkeeper/internal/store"
)

// watch owns the monitor: one goroutine applies what was committed, what people did and the passing of time, keeps the
// effects and publishes them. Everyone else sees snapshots.
type watch struct {
	core    *monitor.State
	db      *store.DB
	log     *slog.Logger
	now     func() time.Time
	publish func(topic string, payload []byte)
	link    func() monitor.IntakeView // what is known of the broker
	stats   func() ingest.Stats
	asides  func() []ingest.Aside
	notify  *notify.Notifier // nil when nobody is to be told
	stages  openStages

	measured *metrics.Metrics
	repeats  int64 // duplicates already counted

	commands     chan command
	boards       chan monitor.Board
	ended        chan struct{}      // closed when Run returns
	cursor       int64              // sequence of the last applied reading
	batch        int                // how many readings are applied before the others get their turn
	owed         []cook.ID          // to be counted again
	counting     *recounting        // the one of them that is being counted; nil when none
	unable       bool               // counting failed: it is tried again at the next tick
	stale        []monitor.StageKey // stages of lots to be counted again
	rewatching   *rewatching        // the one of them that is being counted; nil when none
	recalled     bool               // the places have seen what was committed before the start
	unkept       []monitor.Effect   // forecasts and alarms that are still to be written
	unsaid       []monitor.Effect   // verdicts on the stages of lots that are still to be entered
	journal      int64              // newest entry whose lots are followed; -1 = not read yet
	wired        []byte             // the boards with their probes, as they are kept
	charged      []byte             // the charges of batteries, as they are kept
	faulty       []byte             // why probes measure nothing, as it is kept
	unkeptBoards error              // why neither could be the last time
	barked       time.Time          // when the service manager last heard, by real time
	trouble      error              // why the store could not be used the last time; nil when it could
	snapshot     atomic.Pointer[monitor.Snapshot]

	mu   sync.Mutex // guards subs
	subs map[chan struct{}]bool
}

type command struct {
	do   func(*monitor.State) ([]monitor.Effect, error)
	done chan error
}

// Commands and ticks get their turn between batches. A batch is made as large as goes into about a turn: many readings of
// one minute bring one forecast, as many hand readings bring one each.
const (
	largestBatch  = 500
	smallestBatch = 20
	turn          = 500 * time.Millisecond
)

// lastWork is how long what was committed is still applied at the end. The rest is counted at the next start.
const lastWork = 5 * time.Second

// tick is how often staleness is looked at.
const tick = time.Second

func newWatch(core *monitor.State, db *store.DB, log *slog.Logger, now func() time.Time) *watch {
	w := &watch{core: core, db: db, log: log, now: now, commands: make(chan command), boards: make(chan monitor.Board, 64), ended: make(chan struct{}), batch: largestBatch, subs: map[chan struct{}]bool{},
		stages: journalStages(db), journal: -1, asides: func() []ingest.Aside { return nil }}
	w.snapshot.Store(&monitor.Snapshot{})
	return w
}

// restore brings the monitor to where it was: running cooks with their stored readings, and the alarms as they stand.
// Nobody is told anew of what they were told before.
func (w *watch) restore(ctx context.Context) error {
	cooks, err := w.db.RunningCooks(ctx)
	if err != nil {
		return err
	}
	alarms, err := w.db.LatestAlarms(ctx)
	if err != nil {
		return err
	}
	if w.cursor, err = w.db.LastSeq(ctx); err != nil {
		return err
	}
	w.core.Restore(cooks, alarms)
	w.core.Applied(w.cursor)
	if err := w.restoreBoards(ctx); err != nil {
		return err
	}
	for _, c := range cooks {
		w.owed = append(w.owed, c.ID)
	}
	stages, head, err := w.stages(ctx, w.journal)
	if err != nil {
		return err
	}
	w.journal = head
	for _, e := range w.core.StagesChanged(stages, w.now()) {
		if e.Rewatch != nil {
			w.stale = append(w.stale, *e.Rewatch)
		}
	}
	return nil
}

// always can be received from at any time.
func always() <-chan struct{} {
	c := make(chan struct{})
	close(c)
	return c
}

// Run applies until ctx ends, then once more what was committed meanwhile. A store that cannot be read or written does
// not end it: what could not be kept is tried again, and the trouble is shown and raises an alarm.
func (w *watch) Run(ctx context.Context) error {
	defer close(w.ended)
	ticks := time.NewTicker(tick)
	defer ticks.Stop()
	defer w.giveUp()
	behind := always() // nil when everything committed has been applied
	for {
		w.show()
		var count <-chan struct{}
		if w.toCount() {
			count = always()
		}
		select {
		case <-ctx.Done():
			return w.finish(context.WithoutCancel(ctx))
		case c := <-w.commands:
			w.obey(ctx, c)
		case b := <-w.boards:
			w.setBoard(ctx, b)
		case <-w.db.Committed():
			behind = always()
		case <-behind:
			if !w.step(ctx) {
				behind = nil
			}
		case <-count:
			w.countOn(ctx)
		case <-ticks.C:
			w.alive()
			w.followLots(ctx)
			w.passTime(ctx, behind == nil)
			w.unable = false
			if w.trouble != nil {
				behind = always()
			}
		}
	}
}

// passTime looks at the ways in and out and at who is silent. A probe whose readings are still to be applied is not.
func (w *watch) passTime(ctx context.Context, caughtUp bool) {
	now := w.now()
	effects := append(w.core.SetIntake(w.intake(), now), w.besides(now)...)
	if caughtUp {
		effects = append(effects, w.core.Tick(now)...)
	} else {
		waiting, err := w.await(ctx)
		if err != nil && ctx.Err() == nil {
			w.note(err)
		}
		effects = append(effects, waiting...)
	}
	w.act(ctx, effects)
	w.keepBoards(ctx)
}

// await lets time pass while readings are stored that are not applied yet. The daemon's clock is read before the store: what comes later
// counts the next time.
func (w *watch) await(ctx context.Context) ([]monitor.Effect, error) {
	now := w.now()
	through, err := w.db.LastSeq(ctx)
	if err != nil {
		return nil, err
	}
	spoken, err := w.db.Spoken(ctx, w.core.Heard(), through)
	if err != nil {
		return nil, err
	}
	newest := make([]monitor.Stored, len(spoken))
	for i, r := range spoken {
		newest[i] = monitor.Stored(r)
	}
	return w.core.Await(newest, through, now), nil
}

// finish applies what was committed last, for as long as there is time, and keeps what could not be kept before.
func (w *watch) finish(ctx context.Context) error {
	for began := time.Now(); w.step(ctx) && time.Since(began) < lastWork; {
	}
	w.act(ctx, nil)
	w.show()
	return w.trouble
}

// step applies a batch of what was committed since the cursor, and reports whether there may be more.
func (w *watch) step(ctx context.Context) bool {
	w.alive()
	next, err := w.db.ReadingsAfter(ctx, w.cursor, w.batch)
	if ctx.Err() != nil {
		return false
	}
	w.note(err)
	if err != nil || len(next) == 0 {
		return false
	}
	readings := make([]monitor.Committed, len(next))
	for i, r := range next {
		readings[i] = monitor.Committed(r)
	}
	began := time.Now()
	effects := w.apply(readings)
	w.batch = nextBatch(w.batch, time.Since(began))
	w.cursor = next[len(next)-1].Seq
	w.act(ctx, effects)
	return true
}

// nextBatch makes a batch as large as goes into a turn, from what the last one took.
func nextBatch(size int, took time.Duration) int {
	switch {
	case took > turn:
		return max(smallestBatch, size/4)
	case took < turn/4:
		return min(largestBatch, 2*size)
	}
	return size
}

// apply hands readings to the monitor and measures the forecasts that they bring about.
func (w *watch) apply(readings []monitor.Committed) []monitor.Effect {
	began := time.Now()
	effects := w.core.Apply(readings, w.now())
	forecasts := 0
	for _, e := range effects {
		if e.Forecast != nil {
			forecasts++
		}
	}
	for range forecasts {
		w.measured.Forecasted(time.Since(began) / time.Duration(forecasts))
	}
	return effects
}

// obey does what a person asked for. They hear whether it was kept; they do not wait for a cook to be counted again.
func (w *watch) obey(ctx context.Context, c command) {
	effects, err := c.do(w.core)
	if err == nil {
		w.act(ctx, effects)
		err = w.trouble
	}
	w.show()
	c.done <- err
}

// alive tells the service manager that the loop goes round, as often as it asks for.
func (w *watch) alive() {
	every := watchdogEvery()
	if every == 0 || time.Since(w.barked) < every {
		return
	}
	w.barked = time.Now()
	if err := sdNotify("WATCHDOG=1"); err != nil {
		w.log.Warn("the service manager was not told", "error", err)
	}
}

// note remembers whether the store works, and logs when that changes.
func (w *watch) note(err error) {
	if err == nil && (len(w.owed)+len(w.stale) > 0 || !w.recalled) && w.trouble != nil {
		return // a cook, a stage or a place still waits to be counted
	}
	if err != nil && w.trouble == nil {
		w.log.Error("the watch cannot use the store", "error", err)
	}
	w.trouble = err
}

var errEnded = errors.New("the watch has ended: ask again after the restart")

// do runs a command on the monitor's goroutine and waits for it.
func (w *watch) do(ctx context.Context, f func(*monitor.State) ([]monitor.Effect, error)) error {
	c := command{f, make(chan error, 1)}
	select {
	case w.commands <- c:
	case <-ctx.Done():
		return ctx.Err()
	case <-w.ended:
		return errEnded
	}
	select {
	case err := <-c.done:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}
