package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// ExportRecords gives the records of a lot, or all with "", as one document that verifies by itself. It ends at the first checkpoint that
// covers all of them, so make one first: cook.ErrConflict if there is none. A lot's export begins with its first entry, or the checks
// of the instruments that it names, and holds the seals of its probes over its stages; cook.ErrNotFound if there is no such lot.
func (db *DB) ExportRecords(ctx context.Context, id cook.LotID) (*record.Export, error) {
	keys, err := db.Keys(ctx)
	if err != nil {
		return nil, err
	}
	w := window{first: 1}
	if id != "" {
		lot, err := db.Lot(ctx, id)
		if err != nil {
			return nil, err
		}
		w = window{lot: id, first: firstOf(lot), last: lot.Last, probes: probesOf(lot), span: spanOf(lot)}
	}
	x := &record.Export{Format: record.ExportFormat, Lot: id, Keys: keys, Entries: []record.Line{}, Seals: []record.SealLine{}}
	err = db.readTogether(ctx, "export records", func(tx *sql.Tx) error {
		if err := w.close(ctx, tx); err != nil {
			return err
		}
		if x.Checkpoints, err = readCheckpoints(ctx, tx, `where seq >= ? and seal >= ? order by id`, w.last, w.lastSeal); err != nil {
			return err
		}
		if len(x.Checkpoints) == 0 {
			return fmt.Errorf("export records: %w: no checkpoint covers them yet", cook.ErrConflict)
		}
		if x.Checkpoints = x.Checkpoints[:1]; id == "" {
			if x.Checkpoints, err = readCheckpoints(ctx, tx, `order by id`); err != nil {
				return err
			}
		}
		end := x.Checkpoints[len(x.Checkpoints)-1]
		if err := w.entries(ctx, tx, x, end.Seq); err != nil {
			return err
		}
		return w.seals(ctx, tx, x, end.Seal)
	})
	if err != nil {
		return nil, err
	}
	return x, nil
}

// window is what of the chains an export shows.
type window struct {
	lot                 cook.LotID // empty: everything
	first, last         int64      // entries
	probes              []cook.ProbeID
	span                timeSpan
	firstSeal, lastSeal int64
}

// close finds the ends: of everything, or of the seals that a lot needs.
func (w *window) close(ctx context.Context, tx *sql.Tx) (err error) {
	if w.lot == "" {
		w.firstSeal = 1
		return nil // the newest checkpoint ends it
	}
	for _, p := range w.probes {
		var low, high sql.NullInt64
		if err := tx.QueryRowContext(ctx, `select min(seq), max(seq) from seals where probe = ? and hour >= ? and hour <= ?`,
			string(p), micros(w.span.from), micros(w.span.to)).Scan(&low, &high); err != nil {
			return err
		}
		if low.Valid && (w.firstSeal == 0 || low.Int64 < w.firstSeal) {
			w.firstSeal = low.Int64
		}
		w.lastSeal = max(w.lastSeal, high.Int64)
	}
	return nil
}

type timeSpan struct{ from, to time.Time }

// firstOf is the first entry that an account of the lot needs.
func firstOf(l *record.Lot) int64 {
	first := l.Entries[0].Seq
	for _, m := range l.Monitoring {
		if m.Body.LastCheck != 0 {
			first = min(first, m.Body.LastCheck)
		}
	}
	return first
}

func probesOf(l *record.Lot) []cook.ProbeID {
	var out []cook.ProbeID
	for _, s := range l.Stages {
		out = append(out, s.Probes...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// spanOf is from the first to the last stage, in whole hours; open where a stage runs.
func spanOf(l *record.Lot) (s timeSpan) {
	for i, run := range l.Stages {
		if from := run.From.Truncate(time.Hour); i == 0 || from.Before(s.from) {
			s.from = from
		}
		if run.Until.IsZero() {
			s.to = instant(maxMicros - 1)
		}
		if run.Until.After(s.to) {
			s.to = run.Until
		}
	}
	return s
}

func (w *window) entries(ctx context.Context, tx *sql.Tx, x *record.Export, last int64) error {
	entries, err := queryJournal(ctx, tx, `where seq >= ? and seq <= ? order by seq`, w.first, last)
	if err != nil || len(entries) == 0 {
		return err
	}
	x.From = record.Start{Seq: w.first - 1, Hash: entries[0].Prev}
	for _, e := range entries {
		if w.lot == "" || e.Lot == w.lot || e.Lot == "" {
			x.Entries = append(x.Entries, record.Line{Entry: &e})
			continue
		}
		link := e.Link()
		x.Entries = append(x.Entries, record.Line{Link: &link})
	}
	return nil
}

func (w *window) seals(ctx context.Context, tx *sql.Tx, x *record.Export, last int64) error {
	if w.firstSeal == 0 { // none of the lot's: the chain is not needed
		return startOfSeals(ctx, tx, x, last+1)
	}
	if err := startOfSeals(ctx, tx, x, w.firstSeal); err != nil {
		return err
	}
	for line, err := range sealLines(ctx, tx, w.firstSeal, last) {
		if err != nil {
			return err
		}
		if s := line.Seal; w.lot != "" && (!slices.Contains(w.probes, s.Probe) || s.Hour.Before(w.span.from) || s.Hour.After(w.span.to)) {
			link := s.Link()
			line = record.SealLine{Link: &link}
		}
		x.Seals = append(x.Seals, line)
	}
	return nil
}

// startOfSeals notes where the chain of seals is taken up: before the numbered one.
func startOfSeals(ctx context.Context, tx *sql.Tx, x *record.Export, first int64) error {
	if first <= 1 {
		return nil
	}
	var hash []byte
	if err := tx.QueryRowContext(ctx, `select hash from seals where seq = ?`, first-1).Scan(&hash); err != nil {
		return err
	}
	x.SealsFrom.Seq = first - 1
	copy(x.SealsFrom.Hash[:], hash)
	return nil
}
