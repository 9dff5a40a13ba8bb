package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"slices"
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
	link    func() (connected bool, clients int, trouble string)
	stats   func() ingest.Stats
	notify  *notify.Notifier // nil when nobody is to be told

	measured *metrics.Metrics
	repeats  int64 // duplicates already counted

	commands chan command
	cursor   int64            // sequence of the last applied reading
	owed     []monitor.Effect // to be done when Run begins
	unkept   []monitor.Effect // forecasts and alarms that are still to be written
	barked   time.Time        // when the service manager last heard, by real time
	trouble  error            // why the store could not be used the last time; nil when it could
	snapshot atomic.Pointer[monitor.Snapshot]

	mu   sync.Mutex // guards subs
	subs map[chan struct{}]bool
}

type command struct {
	do   func(*monitor.State) ([]monitor.Effect, error)
	done chan error
}

// batch is how many readings are applied before commands and ticks get their turn.
const batch = 500

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

// Run applies until ctx ends, then once more what was committed meanwhile. A store that cannot be read or written does
// not end it: what could not be kept is tried again, and the trouble is shown and raises an alarm.
func (w *watch) Run(ctx context.Context) error {
	ticks := time.NewTicker(tick)
	defer ticks.Stop()
	w.act(ctx, w.owed)
	w.owed = nil
	w.catchUp(ctx)
	for {
		w.show()
		select {
		case <-ctx.Done():
			w.catchUp(context.WithoutCancel(ctx))
			return w.trouble
		case c := <-w.commands:
			w.obey(ctx, c)
		case <-w.db.Committed():
			w.catchUp(ctx)
		case <-ticks.C:
			w.alive()
			if w.trouble != nil {
				w.catchUp(ctx)
			}
			now := w.now()
			w.act(ctx, append(w.core.SetIntake(w.intake(), now), w.core.Tick(now)...))
		}
	}
}

// catchUp applies what was committed since the cursor. Commands get their turn between batches.
func (w *watch) catchUp(ctx context.Context) {
	for ctx.Err() == nil {
		w.alive()
		next, err := w.db.ReadingsAfter(ctx, w.cursor, batch)
		w.note(err)
		if err != nil || len(next) == 0 {
			return
		}
		readings := make([]cook.Reading, len(next))
		for i, r := range next {
			readings[i] = r.Reading
		}
		w.act(ctx, w.apply(readings))
		w.cursor = next[len(next)-1].Seq
		w.show()
		for waiting := true; waiting; {
			select {
			case c := <-w.commands:
				w.obey(ctx, c)
			default:
				waiting = false
			}
		}
	}
}

// apply hands readings to the monitor and measures the forecasts that they bring about.
func (w *watch) apply(readings []cook.Reading) []monitor.Effect {
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

// obey does what a person asked for. They hear whether it was kept.
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
	if err != nil && w.trouble == nil {
		w.log.Error("the watch cannot use the store", "error", err)
	}
	w.trouble = err
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

// act publishes effects, counts again what has to be, and keeps the rest together with what could not be kept before.
func (w *watch) act(ctx context.Context, effects []monitor.Effect) {
	for len(effects) > 0 {
		e := effects[0]
		effects = effects[1:]
		switch {
		case e.Forecast != nil:
			w.publish(fmt.Sprintf("stallkeeper/state/%d/%s", e.Forecast.Cook, e.Forecast.Piece), e.Forecast.JSON)
			if e.Forecast.Keep {
				w.unkept = append(w.unkept, e)
			}
		case e.Alarm != nil:
			w.tell(e.Alarm)
			w.unkept = append(w.unkept, e)
		case e.Recount != 0:
			more, err := w.recount(ctx, e.Recount)
			w.note(err)
			effects = append(effects, more...)
		}
	}
	if len(w.unkept) > 0 {
		w.note(w.keep(ctx))
	}
}

// keep writes what is to be kept; on an error all that is not written stays for the next time.
func (w *watch) keep(ctx context.Context) error {
	var forecasts []cook.KeptForecast
	for _, e := range w.unkept {
		if e.Forecast != nil {
			forecasts = append(forecasts, e.Forecast.KeptForecast)
		}
	}
	if len(forecasts) > 0 {
		if err := w.db.KeepForecasts(ctx, forecasts); err != nil {
			return err
		}
		w.unkept = slices.DeleteFunc(w.unkept, func(e monitor.Effect) bool { return e.Forecast != nil })
	}
	for len(w.unkept) > 0 {
		if err := w.keepAlarm(ctx, w.unkept[0].Alarm); err != nil {
			return err
		}
		w.unkept = w.unkept[1:]
	}
	return nil
}

// keepAlarm keeps a change of an alarm, with what the notifier is to know of it.
func (w *watch) keepAlarm(ctx context.Context, a *monitor.Alarmed) error {
	if w.notify == nil {
		return w.db.KeepAlarm(ctx, a.Alarm)
	}
	body, err := telling(a)
	if err != nil {
		return err
	}
	if err := w.db.KeepAlarmToTell(ctx, a.Alarm, body); err != nil {
		return err
	}
	w.notify.Poke()
	return nil
}

// tell logs and publishes a change of an alarm.
func (w *watch) tell(a *monitor.Alarmed) {
	w.log.Info("alarm", "id", a.Alarm.ID, "state", a.Alarm.State, "priority", a.Alarm.Priority, "because", a.Because, "notify", a.Notify)
	payload, err := json.Marshal(a.Alarm)
	if err != nil {
		w.log.Error("alarm not published", "id", a.Alarm.ID, "error", err)
		return
	}
	w.publish("stallkeeper/alarm/"+string(a.Alarm.ID), payload)
}

func (w *watch) intake() monitor.IntakeView {
	connected, clients, trouble := w.link()
	s := w.stats()
	w.measured.Duplicates(int(s.Duplicates - w.repeats))
	w.repeats = s.Duplicates
	if w.trouble != nil {
		trouble = w.trouble.Error()
	}
	if t := w.db.Trouble(); t != "" {
		trouble = t
	}
	v := monitor.IntakeView{Connected: connected, Clients: clients, Trouble: trouble, Received: uint64(s.Stored), Quarantined: uint64(s.Quarantined + s.Conflicts)}
	if w.notify != nil {
		v.Delivery = w.notify.Trouble()
	}
	return v
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
