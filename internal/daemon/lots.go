package daemon

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
	"stallkeeper/internal/record"
	"stallkeeper/internal/safety"
)

// openStages gives the stages of lots that are open now or not judged yet, also of lots closed meanwhile, and the number of the journal's newest entry: unchanged, so are they.
type openStages func(ctx context.Context, known int64) (stages []cook.StageWatch, head int64, err error)

// lotsPage is how many lots are read at once.
const lotsPage = 100

// lotReader is what the stages are read from; *store.DB is one.
type lotReader interface {
	Entries(ctx context.Context, q record.Query) ([]record.Entry, error)
	Lot(ctx context.Context, id cook.LotID) (*record.Lot, error)
	Lots(ctx context.Context, beforeSeq int64, limit int, running bool) (lots []*record.Lot, next int64, err error)
}

// journalStages folds the open stages of the lots from the journal: all of them the first time, later only those of the lots that have
// new entries. A shop that never closes its lots pays for them once.
func journalStages(db lotReader) openStages {
	watched := map[cook.LotID][]cook.StageWatch{} // by lots that have any
	put := func(l *record.Lot) {
		if open := unjudged(l); len(open) > 0 {
			watched[l.ID] = open
		} else {
			delete(watched, l.ID)
		}
	}
	return func(ctx context.Context, known int64) ([]cook.StageWatch, int64, error) {
		newest, err := db.Entries(ctx, record.Query{Newest: true, Limit: 1})
		switch {
		case err != nil:
			return nil, 0, fmt.Errorf("read the stages of the lots: %w", err)
		case len(newest) == 0 || newest[0].Seq == known:
			return nil, known, nil
		case known < 0:
			err = foldAll(ctx, db, put)
		default:
			err = foldNew(ctx, db, known, put, func(id cook.LotID) { delete(watched, id) })
		}
		if err != nil {
			return nil, 0, fmt.Errorf("read the stages of the lots: %w", err)
		}
		return slices.Concat(slices.Collect(maps.Values(watched))...), newest[0].Seq, nil
	}
}

// lastClosed is how many closings are looked at after a start, when it is not known how far the journal was followed.
const lastClosed = 20

// foldAll folds the lots that are not closed, and those closed last.
func foldAll(ctx context.Context, db lotReader, put func(*record.Lot)) error {
	for before := int64(0); ; {
		lots, next, err := db.Lots(ctx, before, lotsPage, true)
		if err != nil {
			return err
		}
		for _, l := range lots {
			put(l)
		}
		if before = next; next == 0 {
			break
		}
	}
	closings, err := db.Entries(ctx, record.Query{Kinds: []record.Kind{record.KindClosed}, Newest: true, Limit: lastClosed})
	if err != nil {
		return err
	}
	return fold(ctx, db, closings, put, func(cook.LotID) {})
}

// foldNew folds the lots with entries behind the known one.
func foldNew(ctx context.Context, db lotReader, known int64, put func(*record.Lot), gone func(cook.LotID)) error {
	entries, err := db.Entries(ctx, record.Query{After: known})
	if err != nil {
		return err
	}
	return fold(ctx, db, entries, put, gone)
}

// fold folds the lots of entries, each once.
func fold(ctx context.Context, db lotReader, entries []record.Entry, put func(*record.Lot), gone func(cook.LotID)) error {
	seen := map[cook.LotID]bool{"": true} // the shop's own entries are of no lot
	for _, e := range entries {
		if seen[e.Lot] {
			continue
		}
		seen[e.Lot] = true
		switch l, err := db.Lot(ctx, e.Lot); {
		case errors.Is(err, cook.ErrNotFound):
			gone(e.Lot) // withdrawn
		case err != nil:
			return err
		default:
			put(l)
		}
	}
	return nil
}

// unjudged gives the stages of a lot that run, and those that have ended and are not judged yet. The closing of a lot ends what still
// runs in it.
func unjudged(l *record.Lot) []cook.StageWatch {
	var out []cook.StageWatch
	for _, s := range l.Watches() {
		if !l.Running() && s.Until.IsZero() {
			if s.Until = l.Closed; !s.From.Before(s.Until) {
				continue
			}
		}
		if s.Until.IsZero() || !judged(l, s) {
			out = append(out, s)
		}
	}
	return out
}

// judged reports whether the daemon has entered how a stage that has ended met its limits.
func judged(l *record.Lot, w cook.StageWatch) bool {
	return slices.ContainsFunc(l.Monitoring, func(m record.Kept[record.Monitoring]) bool {
		return m.Auth == record.AuthDaemon && m.Body.Stage == w.Stage && m.Body.Piece == w.Piece && !m.At.Before(w.From) && !m.At.After(w.Until.Add(record.LateAfter))
	})
}

// followLots lets the monitor know when stages were begun or ended.
func (w *watch) followLots(ctx context.Context) {
	stages, head, err := w.stages(ctx, w.journal)
	if ctx.Err() != nil {
		return // an end is no trouble
	}
	if err != nil {
		w.note(err)
		return
	}
	if head == w.journal {
		return
	}
	w.journal = head
	w.act(ctx, w.core.StagesChanged(stages, w.now()))
}

// rewatching is a stage of a lot that is being counted again.
type rewatching struct {
	key     monitor.StageKey
	count   *monitor.Rewatching
	next    func() (cook.Reading, error, bool) // by time, of what was committed up to through
	stop    func()
	done    bool  // there is no next
	through int64 // then what came later, by commit, up to the watch's cursor
}

// beginRewatch begins to count a stage of a lot again from what is stored of its probes; of one that has ended also what is not applied yet.
func (w *watch) beginRewatch(ctx context.Context, key monitor.StageKey) error {
	probes, from, ok := w.core.Probes(key)
	count := w.core.Rewatch(key, w.now())
	if !ok || count == nil {
		w.stale = w.stale[1:]
		return nil
	}
	through := w.cursor
	if count.Ended() {
		var err error
		if through, err = w.db.LastSeq(ctx); err != nil {
			return fmt.Errorf("count the %s of lot %s again: %w", key.Stage, key.Lot, err)
		}
	}
	r := &rewatching{key: key, count: count, through: through}
	r.next, r.stop = iter.Pull2(w.stored(ctx, probes, from, through))
	w.rewatching = r
	return nil
}

// rewatchSome counts for a turn, and puts the stage in its place when all of it is counted.
func (w *watch) rewatchSome(ctx context.Context) error {
	r := w.rewatching
	for began := time.Now(); w.rewatching == r && time.Since(began) < countTurn; {
		if err := w.rewatchStep(ctx, r); err != nil {
			return fmt.Errorf("count the %s of lot %s again: %w", r.key.Stage, r.key.Lot, err)
		}
	}
	return nil
}

func (w *watch) rewatchStep(ctx context.Context, r *rewatching) error {
	if !r.done {
		reading, err, more := r.next()
		if r.done = !more; err == nil && more {
			r.count.Add(reading)
		}
		return err
	}
	later, through, err := w.later(ctx, r.through)
	if err != nil {
		return err
	}
	if len(later) > 0 {
		for _, c := range later {
			r.count.Add(c.Reading)
		}
		r.through = through
		return nil
	}
	w.giveUp()
	w.stale = slices.DeleteFunc(w.stale, func(key monitor.StageKey) bool { return key == r.key })
	w.act(ctx, r.count.Done(w.now()))
	return nil
}

// enter puts what was judged of a lot's stage into its journal. What is there already, or does not fit the lot any more, is left.
func (w *watch) enter(ctx context.Context, e monitor.Effect) error {
	var drafts []record.Draft
	var id cook.LotID
	if e.Deviation != nil {
		id = e.Deviation.Watch.Lot
		drafts = []record.Draft{w.deviation(*e.Deviation)}
	} else {
		id = e.Judged.Watch.Lot
		for _, v := range e.Judged.Verdicts {
			drafts = append(drafts, w.monitoring(e.Judged.Watch, v))
		}
	}
	lot, err := w.db.Lot(ctx, id)
	if errors.Is(err, cook.ErrNotFound) {
		w.log.Warn("lot withdrawn, its verdict is not entered", "lot", id)
		return nil
	}
	if err != nil {
		return err
	}
	drafts = slices.DeleteFunc(drafts, func(d record.Draft) bool { return entered(lot, d) })
	if len(drafts) == 0 {
		return nil
	}
	_, err = w.db.Append(ctx, drafts...)
	if errors.Is(err, cook.ErrConflict) || errors.Is(err, cook.ErrNotFound) || errors.Is(err, record.ErrDraft) {
		w.log.Error("a verdict does not fit its lot any more and is not entered", "lot", id, "error", err)
		return nil
	}
	return err
}

// entered reports whether the daemon has entered the same before, standing or corrected since.
func entered(lot *record.Lot, d record.Draft) bool {
	return slices.ContainsFunc(lot.Entries, func(e record.Entry) bool {
		if e.Auth != record.AuthDaemon || e.Kind != d.Body.Kind() {
			return false
		}
		body, err := e.Decode()
		if err != nil {
			return false
		}
		switch b := body.(type) {
		case *record.Deviation:
			n, ok := d.Body.(record.Deviation)
			return ok && b.Rule == n.Rule && sameLimit(b.Limit, n.Limit) && b.Stage == n.Stage && b.Piece == n.Piece && b.From.Equal(n.From) && outcomeWord(b.What) == outcomeWord(n.What)
		case *record.Monitoring:
			n, ok := d.Body.(record.Monitoring)
			return ok && b.Rule == n.Rule && b.Stage == n.Stage && b.Piece == n.Piece && e.At.Equal(cook.Instant(d.At)) && sameLimit(b.Limit, n.Limit)
		}
		return false
	})
}

// sameLimit compares two limits but for what stands in brackets: the other scale was not always written there.
func sameLimit(a, b string) bool { return unbracketed(a) == unbracketed(b) }

func unbracketed(limit string) string {
	for {
		before, rest, open := strings.Cut(limit, " (")
		_, after, closed := strings.Cut(rest, ")")
		if !open || !closed {
			return limit
		}
		limit = before + after
	}
}

// The words that a deviation begins with.
const (
	missedWord  = "Missed"
	unknownWord = "Not known whether the limit was met"
)

func outcomeWord(what string) string {
	word, _, _ := strings.Cut(what, ":")
	if word == "Not known whether it was met" { // as it was once written
		return unknownWord
	}
	return word
}

func controlPoint(w cook.StageWatch, v safety.Verdict) record.ControlPoint {
	return record.ControlPoint{Limit: v.Needed, Rule: v.Set + " " + string(v.Rule), Source: v.Source, Measured: v.Measured, Stage: w.Stage, Piece: w.Piece}
}

func (w *watch) deviation(d monitor.Deviation) record.Draft {
	word := missedWord
	if d.Verdict.Outcome == safety.Unknown {
		word = unknownWord
	}
	return record.Draft{Lot: d.Watch.Lot, At: w.past(d.Verdict.At), Maker: record.Maker{By: record.DaemonName, Auth: record.AuthDaemon}, Reason: "entered when the watch found it",
		Body: record.Deviation{ControlPoint: controlPoint(d.Watch, d.Verdict), From: cook.Instant(d.From), What: word + ": " + d.Verdict.Because}}
}

func (w *watch) monitoring(s cook.StageWatch, v safety.Verdict) record.Draft {
	verdict := map[safety.Outcome]record.Verdict{safety.Met: record.Met, safety.Missed: record.Missed, safety.Unknown: record.Unknown}[v.Outcome]
	m := record.Monitoring{ControlPoint: controlPoint(s, v), Verdict: verdict, Because: v.Because}
	if m.Measured == "" {
		m.Measured = "nothing"
	}
	if len(s.Probes) == 1 {
		m.Instrument = string(s.Probes[0])
	}
	at := v.At
	if at.Before(s.From) || at.After(s.Until) { // nothing was measured
		at = s.Until
	}
	return record.Draft{Lot: s.Lot, At: w.past(at), Maker: record.Maker{By: record.DaemonName, Auth: record.AuthDaemon}, Body: m}
}

// past is a time that an entry may have: one that was measured, and not ahead of the daemon's clock.
func (w *watch) past(t time.Time) time.Time {
	if now := w.now(); t.IsZero() || t.After(now) {
		return now
	}
	return t
}
