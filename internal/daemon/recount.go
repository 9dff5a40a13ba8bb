package daemon

import (
	"context"
	"fmt"
	"iter"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/outlook"
	"stallkeeper/internal/store"
)

// recountOwed counts again what is to be. A cook whose readings could not be read stays owed.
func (w *watch) recountOwed(ctx context.Context) {
	if !w.recalled {
		err := w.recall(ctx)
		if w.recalled = err == nil; err != nil && ctx.Err() == nil {
			w.note(err)
		}
	}
	for len(w.owed) > 0 && ctx.Err() == nil {
		if err := w.recount(ctx, w.owed[0]); err != nil {
			if ctx.Err() == nil {
				w.note(err)
			}
			return
		}
		w.owed = w.owed[1:]
		w.show()
	}
	for len(w.stale) > 0 && ctx.Err() == nil {
		if err := w.rewatch(ctx, w.stale[0]); err != nil {
			if ctx.Err() == nil {
				w.note(err)
			}
			return
		}
		w.stale = w.stale[1:]
		w.show()
	}
}

// recount has a cook counted again from what is stored of its probes, and does what comes up on the way.
func (w *watch) recount(ctx context.Context, id cook.ID) error {
	stored, err := w.db.Cook(ctx, id)
	if err != nil {
		return fmt.Errorf("count cook %d again: %w", id, err)
	}
	kept, err := w.db.LatestForecasts(ctx, id)
	if err != nil {
		return fmt.Errorf("count cook %d again: %w", id, err)
	}
	var forecasted time.Time
	for _, f := range kept {
		if f.At.After(forecasted) {
			forecasted = f.At
		}
	}
	probes, err := w.db.Probes(ctx)
	if err != nil {
		return fmt.Errorf("count cook %d again: %w", id, err)
	}
	own := make([]cook.ProbeID, 0, len(probes))
	for _, p := range probes {
		if outlook.Belongs(stored.Cook, p.ID) {
			own = append(own, p.ID)
		}
	}
	through, err := w.db.LastSeq(ctx)
	if err != nil {
		return fmt.Errorf("count cook %d again: %w", id, err)
	}
	var effects []monitor.Effect
	do := func(more []monitor.Effect) {
		if len(more) > 0 {
			w.alive()
		}
		if effects = append(effects, more...); len(effects) >= largestBatch {
			w.act(ctx, effects)
			effects = nil
		}
	}
	if err := w.core.Recount(id, w.stored(ctx, own, stored.Started, through), through, forecasted, w.now(), do); err != nil {
		return fmt.Errorf("count cook %d again: %w", id, err)
	}
	w.act(ctx, effects)
	return nil
}

// recall lets the places see again what was committed before the start: a kill may have come before it was applied.
func (w *watch) recall(ctx context.Context) error {
	probes, err := w.db.Probes(ctx)
	if err != nil {
		return fmt.Errorf("look at the places again: %w", err)
	}
	for _, id := range w.core.Places() {
		i := slices.IndexFunc(probes, func(p store.Probe) bool { return p.ID == id })
		if i < 0 {
			continue // never heard
		}
		var last []cook.Reading
		for r, err := range w.stored(ctx, []cook.ProbeID{id}, probes[i].Last.Add(-monitor.RecallOver), w.cursor) {
			if err != nil {
				return fmt.Errorf("look at the places again: %w", err)
			}
			last = append(last, r)
		}
		w.act(ctx, w.core.Recall(last, w.now()))
	}
	return nil
}

// stored streams readings, and tells the service manager now and then that it does.
func (w *watch) stored(ctx context.Context, probes []cook.ProbeID, from time.Time, through int64) iter.Seq2[cook.Reading, error] {
	return func(yield func(cook.Reading, error) bool) {
		n := 0
		for r, err := range w.db.ReadingsThrough(ctx, probes, from, time.Time{}, through) {
			if n++; n%1000 == 0 {
				w.alive()
			}
			if !yield(r, err) {
				return
			}
		}
	}
}
