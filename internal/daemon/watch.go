package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/monitor"
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
	link    func() (connected bool, clients int, trouble string)
	stats   func() ingest.Stats

	commands chan command
	cursor   int64            // sequence of the last applied reading
	owed     []monitor.Effect // to be done when Run begins
	snapshot atomic.Pointer[monitor.Snapshot]

	mu   sync.Mutex // guards subs
	subs map[chan struct{}]bool
}

type command struct {
	do   func(*monitor.State) ([]monitor.Effect, error)
	done chan error
}

// batch is how many readings are applied before commands and ticks get their turn.
const batch = 2000

// tick is how often staleness is looked at.
const tick = time.Second

func newWatch(core *monitor.State, db *store.DB, log *slog.Logger, now func() time.Time) *watch {
	w := &watch{core: core, db: db, log: log, now: now, commands: make(chan command), subs: map[chan struct{}]bool{}}
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
	for _, c := range cooks {
		w.owed = append(w.owed, monitor.Effect{Recount: c.ID})
	}
	return nil
}

// recount has a cook counted again from what is stored.
func (w *watch) recount(ctx context.Context, id cook.ID) ([]monitor.Effect, error) {
	stored, err := w.db.Cook(ctx, id)
	if err != nil {
		return nil, fmt.Errorf("count cook %d again: %w", id, err)
	}
	kept, err := w.db.LatestForecasts(ctx, id)
	if err != nil {
		return nil, fmt.Errorf("count cook %d again: %w", id, err)
	}
	var forecasted time.Time
	for _, f := range kept {
		if f.At.After(forecasted) {
			forecasted = f.At
		}
	}
	var readings []cook.Reading
	for r, err := range w.db.ReadingsOf(ctx, nil, stored.Started, time.Time{}) {
		if err != nil {
			return nil, fmt.Errorf("count cook %d again: %w", id, err)
		}
		readings = append(readings, r)
	}
	return w.core.Recount(id, readings, forecasted, w.now()), nil
}

// Run applies until ctx ends, then once more what was committed meanwhile.
func (w *watch) Run(ctx context.Context) error {
	ticks := time.NewTicker(tick)
	defer ticks.Stop()
	if err := w.act(ctx, w.owed); err != nil {
		return err
	}
	w.owed = nil
	if err := w.catchUp(ctx); err != nil {
		return err
	}
	for {
		select {
		case <-ctx.Done():
			return w.catchUp(context.WithoutCancel(ctx))
		case c := <-w.commands:
			effects, err := c.do(w.core)
			if err == nil {
				err = w.act(ctx, effects)
			}
			c.done <- err
		case <-w.db.Committed():
			if err := w.catchUp(ctx); err != nil {
				return err
			}
		case <-ticks.C:
			now := w.now()
			effects := w.core.SetIntake(w.intake(), now)
			if err := w.act(ctx, append(effects, w.core.Tick(now)...)); err != nil {
				return err
			}
		}
		w.show()
	}
}

// catchUp applies what was committed since the cursor. Commands wait meanwhile; a batch at a time keeps that short.
func (w *watch) catchUp(ctx context.Context) error {
	for ctx.Err() == nil {
		next, err := w.db.ReadingsAfter(ctx, w.cursor, batch)
		if err != nil {
			return fmt.Errorf("read what was committed: %w", err)
		}
		if len(next) == 0 {
			return nil
		}
		readings := make([]cook.Reading, len(next))
		for i, r := range next {
			readings[i] = r.Reading
		}
		if err := w.act(ctx, w.core.Apply(readings, w.now())); err != nil {
			return err
		}
		w.cursor = next[len(next)-1].Seq
		w.show()
		w.obey(ctx)
	}
	return ctx.Err()
}

// obey does the commands that are waiting, so that a long backlog does not hold people up.
func (w *watch) obey(ctx context.Context) {
	for {
		select {
		case c := <-w.commands:
			effects, err := c.do(w.core)
			c.done <- errors.Join(err, w.act(ctx, effects))
		default:
			return
		}
	}
}

// do runs a command on the monitor's goroutine and waits for it.
func (w *watch) do(ctx context.Context, f func(*monitor.State) ([]monitor.Effect, error)) error {
	c := command{f, make(chan error, 1)}
	select {
	case w.commands <- c:
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-c.done:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// act keeps effects, publishes and logs them, and counts again what has to be.
func (w *watch) act(ctx context.Context, effects []monitor.Effect) error {
	var kept []cook.KeptForecast
	for len(effects) > 0 {
		e := effects[0]
		effects = effects[1:]
		switch {
		case e.Forecast != nil:
			if e.Forecast.Keep {
				kept = append(kept, e.Forecast.KeptForecast)
			}
			w.publish(fmt.Sprintf("stallkeeper/state/%d/%s", e.Forecast.Cook, e.Forecast.Piece), e.Forecast.JSON)
		case e.Alarm != nil:
			if err := w.keepAlarm(ctx, e.Alarm); err != nil {
				return err
			}
		case e.Recount != 0:
			more, err := w.recount(ctx, e.Recount)
			if err != nil {
				return err
			}
			effects = append(effects, more...)
		}
	}
	if len(kept) == 0 {
		return nil
	}
	return w.db.KeepForecasts(ctx, kept)
}

func (w *watch) keepAlarm(ctx context.Context, a *monitor.Alarmed) error {
	if err := w.db.KeepAlarm(ctx, a.Alarm); err != nil {
		return err
	}
	w.log.Info("alarm", "id", a.Alarm.ID, "state", a.Alarm.State, "priority", a.Alarm.Priority, "because", a.Because, "notify", a.Notify)
	payload, err := json.Marshal(a.Alarm)
	if err != nil {
		return err
	}
	w.publish("stallkeeper/alarm/"+string(a.Alarm.ID), payload)
	return nil
}

func (w *watch) intake() monitor.IntakeView {
	connected, clients, trouble := w.link()
	s := w.stats()
	if t := w.db.Trouble(); t != "" {
		trouble = t
	}
	return monitor.IntakeView{Connected: connected, Clients: clients, Trouble: trouble, Received: uint64(s.Stored), Quarantined: uint64(s.Quarantined + s.Conflicts)}
}

// show makes the present state visible and tells those who look.
func (w *watch) show() {
	s := w.core.Snapshot()
	w.snapshot.Store(&s)
	w.mu.Lock()
	defer w.mu.Unlock()
	for c := range w.subs {
		select {
		case c <- struct{}{}:
		default:
		}
	}
}

// Snapshot gives the state as it was last shown.
func (w *watch) Snapshot() monitor.Snapshot { return *w.snapshot.Load() }

// Changed gives a channel that receives after changes until stop is called.
func (w *watch) Changed() (<-chan struct{}, func()) {
	c := make(chan struct{}, 1)
	w.mu.Lock()
	w.subs[c] = true
	w.mu.Unlock()
	return c, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		delete(w.subs, c)
	}
}
