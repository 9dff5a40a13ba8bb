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

// recounting is a cook that is being counted again.
type recounting struct {
	id      cook.ID
	count   *monitor.Counting
	next    func() (cook.Reading, error, bool) // by time, of what was committed up to through
	stop    func()
	done    bool  // there is no next
	through int64 // then what came later, by commit, up to the watch's cursor
}

// countTurn is for how long a cook is counted before readings, ticks and commands get their turn. One moment of a cook may take longer: it
// brings a forecast for each piece.
const (
	countTurn  = 200 * time.Millisecond
	laterBatch = 100 // readings
)

// toCount reports whether there is something to count again, and no trouble that waits for the next tick.
func (w *watch) toCount() bool {
	return !w.unable && (!w.recalled || w.counting != nil || w.rewatching != nil || len(w.owed)+len(w.stale) > 0)
}

// countOn works for a turn at what is to be counted again, and reports whether there is more. A cook whose readings could not be read
// stays owed.
func (w *watch) countOn(ctx context.Context) bool {
	var err error
	switch {
	case !w.recalled:
		err = w.recall(ctx)
		w.recalled = err == nil
	case w.counting != nil:
		err = w.countSome(ctx)
	case w.rewatching != nil:
		err = w.rewatchSome(ctx)
	case len(w.owed) > 0:
		err = w.beginCount(ctx, w.owed[0])
	case len(w.stale) > 0:
		err = w.beginRewatch(ctx, w.stale[0])
	}
	if err != nil && ctx.Err() == nil {
		w.note(err)
		w.giveUp()
		w.unable = true
	}
	return w.toCount() && ctx.Err() == nil
}

// giveUp forgets what was counted so far.
func (w *watch) giveUp() {
	if w.counting != nil {
		w.counting.stop()
		w.counting = nil
	}
	if w.rewatching != nil {
		w.rewatching.stop()
		w.rewatching = nil
	}
}

// beginCount begins to count a cook again from what is stored of its probes.
func (w *watch) beginCount(ctx context.Context, id cook.ID) error {
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
		if outlook.Belongs(stored.Cook, p.ID) && !p.Last.Before(stored.Started) {
			own = append(own, p.ID)
		}
	}
	through, err := w.db.LastSeq(ctx)
	if err != nil {
		return fmt.Errorf("count cook %d again: %w", id, err)
	}
	c := &recounting{id: id, count: w.core.Count(id, through, forecasted, w.now()), through: through}
	if c.count == nil { // ended meanwhile
		w.owed = w.owed[1:]
		return nil
	}
	c.next, c.stop = iter.Pull2(w.stored(ctx, own, stored.Started, through))
	w.counting = c
	return nil
}

// countSome counts for a turn, does what comes up on the way, and puts the cook in its place when all of it is counted.
func (w *watch) countSome(ctx context.Context) error {
	c := w.counting
	var effects []monitor.Effect
	var err error
	for began := time.Now(); err == nil && w.counting == c && time.Since(began) < countTurn; {
		var some []monitor.Effect
		some, err = w.countStep(ctx, c)
		effects = append(effects, some...)
	}
	w.act(ctx, effects)
	if err != nil {
		return fmt.Errorf("count cook %d again: %w", c.id, err)
	}
	return nil
}

// countStep counts the next reading, or those of a batch that came later. When there is none it puts the cook in its place.
func (w *watch) countStep(ctx context.Context, c *recounting) ([]monitor.Effect, error) {
	if !c.done {
		r, err, more := c.next()
		if c.done = !more; err != nil || !more {
			return nil, err
		}
		return c.count.Add(r), nil
	}
	later, through, err := w.later(ctx, c.through)
	if err != nil {
		return nil, err
	}
	if len(later) > 0 {
		c.through = through
		return c.count.Later(later), nil
	}
	w.giveUp()
	w.owed = slices.DeleteFunc(w.owed, func(id cook.ID) bool { return id == c.id })
	return c.count.Done(w.now()), nil
}

// later gives what was applied since a count began and is not counted yet, behind a place in the order of commits: a batch at a time, and up
// to where; none when that is all.
func (w *watch) later(ctx context.Context, through int64) ([]monitor.Committed, int64, error) {
	next, err := w.db.ReadingsAfter(ctx, through, laterBatch)
	if err != nil {
		return nil, through, err
	}
	var out []monitor.Committed
	for _, r := range next {
		if r.Seq > w.cursor {
			break
		}
		through = r.Seq
		out = append(out, monitor.Committed(r))
	}
	return out, through, nil
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
	return w.remember(ctx, probes)
}

// remember lets the monitor show again who spoke lately, declared or not.
func (w *watch) remember(ctx context.Context, probes []store.Probe) error {
	for _, p := range probes {
		if w.now().Sub(p.Last) > monitor.RememberFor {
			continue
		}
		for r, err := range w.stored(ctx, []cook.ProbeID{p.ID}, p.Last, w.cursor) {
			if err != nil {
				return fmt.Errorf("look who spoke lately: %w", err)
			}
			w.core.Remember(r, w.now())
		}
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
