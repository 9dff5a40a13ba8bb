package daemon

import (
	"context"
	"fmt"
	"sync"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/ingest"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/store"
)

// desk does what people ask for: first into the store, then to the monitor.
type desk struct {
	db     *store.DB
	watch  *watch
	intake *ingest.Intake
	now    func() time.Time
}

// StartCook keeps a cook, which is valid, and begins to watch it. It gives the number that the store made for it.
func (d *desk) StartCook(ctx context.Context, c cook.Cook) (cook.ID, error) {
	id, err := d.db.CreateCook(ctx, c, d.now())
	if err != nil {
		return 0, err
	}
	return id, d.changed(ctx, id)
}

// LogEvent appends what was done.
func (d *desk) LogEvent(ctx context.Context, id cook.ID, e cook.Entry) (cook.Entry, error) {
	e.Logged = d.now().UTC()
	kept, err := d.db.AppendEntry(ctx, id, e)
	if err != nil {
		return cook.Entry{}, err
	}
	return kept, d.changed(ctx, id)
}

// Amend changes what the cook aims at.
func (d *desk) Amend(ctx context.Context, id cook.ID, a cook.Amendment) error {
	a.Time = d.now().UTC()
	if err := d.db.AppendAmendment(ctx, id, a); err != nil {
		return err
	}
	return d.changed(ctx, id)
}

// EndCook ends the watch over a cook.
func (d *desk) EndCook(ctx context.Context, id cook.ID, at time.Time) error {
	if at.IsZero() {
		at = d.now()
	}
	if err := d.db.EndCook(ctx, id, at.UTC()); err != nil {
		return err
	}
	return d.changed(ctx, id)
}

// ImportLog keeps a finished cook with its readings. Readings that are there already count as kept; one with another value
// at the same time goes to quarantine, and the import says so after the rest is kept.
func (d *desk) ImportLog(ctx context.Context, log *cook.Log) (cook.ID, error) {
	if len(log.Readings) == 0 {
		return 0, fmt.Errorf("import %q: the log has no readings", log.Cook.Name)
	}
	var mu sync.Mutex // guards conflicts and first
	var conflicts int
	var first error
	var open sync.WaitGroup
	for _, r := range log.Readings {
		r.Arrived = cook.Instant(d.now())
		r.Backlog = true
		open.Add(1)
		err := d.db.Put(ctx, store.Item{Reading: r, Done: func(o store.Outcome, err error) {
			defer open.Done()
			mu.Lock()
			defer mu.Unlock()
			if err != nil && first == nil {
				first = err
			}
			if o == store.Conflict {
				conflicts++
			}
		}})
		if err != nil {
			open.Done()
			return 0, fmt.Errorf("import %q: %w", log.Cook.Name, err)
		}
	}
	open.Wait()
	if first != nil {
		return 0, fmt.Errorf("import %q: %w", log.Cook.Name, first)
	}
	id, err := d.db.CreateCook(ctx, log.Cook, d.now())
	if err != nil {
		return 0, err
	}
	if err := d.db.EndCook(context.WithoutCancel(ctx), id, log.Readings[len(log.Readings)-1].Time); err != nil {
		return 0, err
	}
	if conflicts > 0 {
		return id, fmt.Errorf("import %q as cook %d: %d readings have another value than those already kept at their time and are in quarantine: %w", log.Cook.Name, id, conflicts, cook.ErrConflict)
	}
	return id, nil
}

// HandReading keeps a reading that somebody typed in.
func (d *desk) HandReading(ctx context.Context, r cook.Reading) error {
	if r.Time.IsZero() {
		r.Time = d.now()
	}
	r.Time, r.Clock, r.Arrived = cook.Instant(r.Time), cook.HandClock, cook.Instant(d.now())
	if r.Quality == "" {
		judge := cook.Judge{Gas: d.intake.Gas()}
		r.Quality = judge.Quality(r)
	}
	type result struct {
		outcome store.Outcome
		err     error
	}
	kept := make(chan result, 1)
	if err := d.db.Put(ctx, store.Item{Reading: r, Done: func(o store.Outcome, err error) { kept <- result{o, err} }}); err != nil {
		return err
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case got := <-kept:
		if got.outcome == store.Conflict && got.err == nil {
			return fmt.Errorf("probe %q has another value at %s: %w", r.Probe, r.Time.Format(time.RFC3339), cook.ErrConflict)
		}
		return got.err
	}
}

// Acknowledge says that a person has seen the alarm.
func (d *desk) Acknowledge(ctx context.Context, id alarm.ID, by string) error {
	return d.watch.do(ctx, func(m *monitor.State) ([]monitor.Effect, error) { return m.Acknowledge(id, by, d.now()) })
}

// Shelve silences the alarm until a time.
func (d *desk) Shelve(ctx context.Context, id alarm.ID, until time.Time, by string) error {
	return d.watch.do(ctx, func(m *monitor.State) ([]monitor.Effect, error) { return m.Shelve(id, until, by, d.now()) })
}

// WhatIf forecasts as if the events were done.
func (d *desk) WhatIf(ctx context.Context, id cook.ID, piece cook.PieceID, events []cook.Event) (f estimator.Forecast, err error) {
	err = d.watch.do(ctx, func(m *monitor.State) ([]monitor.Effect, error) {
		var err error
		f, err = m.WhatIf(id, piece, events)
		return nil, err
	})
	return f, err
}

// changed tells the monitor how a cook stands now, also when whoever asked has gone meanwhile: it is in the store already.
func (d *desk) changed(ctx context.Context, id cook.ID) error {
	ctx = context.WithoutCancel(ctx)
	stored, err := d.db.Cook(ctx, id)
	if err != nil {
		return err
	}
	return d.watch.do(ctx, func(m *monitor.State) ([]monitor.Effect, error) { return m.CookChanged(*stored, d.now()), nil })
}
