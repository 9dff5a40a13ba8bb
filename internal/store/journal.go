package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// Append enters drafts in the journal, all or none, and gives them back as entries. Each is checked by itself and against its lot as it
// stands (record.Lot.Accepts); cook.ErrNotFound and cook.ErrConflict say what does not fit, any other error without a word of the
// disk what is wrong with the draft (record.ErrDraft). A monitoring entry gets the last check of its instrument.
func (db *DB) Append(ctx context.Context, drafts ...record.Draft) ([]record.Entry, error) {
	var out []record.Entry
	err := db.write(ctx, "enter record", func(tx *sql.Tx) error {
		out = nil
		seq, prev, err := journalHead(ctx, tx)
		if err != nil {
			return err
		}
		entered := db.opts.Now()
		lots := map[cook.LotID][]record.Entry{}
		for _, d := range drafts {
			e, err := newEntry(ctx, tx, d, seq+1, prev, entered, lots)
			if err != nil {
				return err
			}
			if err := insertJournal(ctx, tx, e); err != nil {
				return err
			}
			lots[e.Lot] = append(lots[e.Lot], e)
			out = append(out, e)
			seq, prev = e.Seq, e.Hash
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

func newEntry(ctx context.Context, tx *sql.Tx, d record.Draft, seq int64, prev record.Hash, entered time.Time, lots map[cook.LotID][]record.Entry) (record.Entry, error) {
	if err := fillCheck(ctx, tx, &d); err != nil {
		return record.Entry{}, err
	}
	e, err := d.Make(seq, prev, entered)
	if err != nil {
		return e, fmt.Errorf("%w: %w", record.ErrDraft, err)
	}
	if _, read := lots[e.Lot]; !read {
		if lots[e.Lot], err = lotEntries(ctx, tx, e); err != nil {
			return e, err
		}
	}
	lot, err := record.Fold(lots[e.Lot])
	if err != nil {
		return e, err
	}
	return e, lot.Accepts(e)
}

// lotEntries reads what an entry is to fit: its lot, or of the shop's own entries only the one that it corrects.
func lotEntries(ctx context.Context, tx *sql.Tx, e record.Entry) ([]record.Entry, error) {
	if e.Lot == "" && e.Kind != record.KindCorrectiveAction && e.Kind != record.KindVerification {
		return queryJournal(ctx, tx, `where lot = '' and (seq = ? or corrects = ?) order by seq`, e.Corrects, e.Corrects)
	}
	return queryJournal(ctx, tx, `where lot = ? order by seq`, string(e.Lot))
}

// fillCheck notes the last check of the instrument that a monitoring entry names, or says that there is none.
func fillCheck(ctx context.Context, tx *sql.Tx, d *record.Draft) error {
	m, ok := d.Body.(record.Monitoring)
	if p, pointer := d.Body.(*record.Monitoring); pointer && p != nil {
		m, ok = *p, true
	}
	if !ok || m.Instrument == "" {
		return nil
	}
	at := d.At
	if at.IsZero() {
		at = time.UnixMicro(maxMicros - 1)
	}
	var us int64
	err := tx.QueryRowContext(ctx, `select seq, at from journal j where kind = ? and at <= ? and json_extract(body, '$.instrument') = ?
		and not exists (select 1 from journal c where c.corrects = j.seq and c.lot = j.lot) order by at desc, seq desc limit 1`,
		string(record.KindProbeChecked), micros(at), m.Instrument).Scan(&m.LastCheck, &us)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		m.LastCheck, m.CheckedAt = 0, time.Time{}
	case err != nil:
		return err
	default:
		m.CheckedAt = instant(us)
	}
	d.Body = m
	return nil
}

// journalHead gives number and hash of the newest entry; zeros for an empty journal.
func journalHead(ctx context.Context, tx *sql.Tx) (seq int64, hash record.Hash, err error) {
	var h []byte
	err = tx.QueryRowContext(ctx, `select seq, hash from journal order by seq desc limit 1`).Scan(&seq, &h)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, hash, nil
	}
	copy(hash[:], h)
	return seq, hash, err
}

func insertJournal(ctx context.Context, tx *sql.Tx, e record.Entry) error {
	_, err := tx.ExecContext(ctx, `insert into journal (seq, lot, kind, at, entered, who, auth, body, corrects, reason, prev, hash)
		values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, e.Seq, string(e.Lot), string(e.Kind), micros(e.At), micros(e.Entered), e.By, string(e.Auth),
		string(e.Body), e.Corrects, e.Reason, e.Prev[:], e.Hash[:])
	return err
}

// Entries gives entries of the journal.
func (db *DB) Entries(ctx context.Context, q record.Query) ([]record.Entry, error) {
	var where []string
	var args []any
	and := func(condition string, values ...any) {
		where, args = append(where, condition), append(args, values...)
	}
	order := "seq"
	if q.Newest {
		order = "seq desc"
		and("seq < ?", before(q.After))
	} else {
		and("seq > ?", q.After)
	}
	if q.Lot != nil {
		and("lot = ?", string(*q.Lot))
	}
	if len(q.Kinds) > 0 {
		marks := make([]string, 0, len(q.Kinds))
		for _, k := range q.Kinds {
			marks, args = append(marks, "?"), append(args, string(k))
		}
		where = append(where, "kind in ("+strings.Join(marks, ", ")+")")
	}
	if !q.From.IsZero() || !q.To.IsZero() {
		lo, hi := span(q.From, q.To)
		and("at >= ? and at < ?", lo, hi)
	}
	limit := -1
	if q.Limit > 0 {
		limit = q.Limit
	}
	var out []record.Entry
	err := db.readTogether(ctx, "read records", func(tx *sql.Tx) (err error) {
		out, err = queryJournal(ctx, tx, "where "+strings.Join(where, " and ")+" order by "+order+" limit ?", append(args, limit)...)
		return err
	})
	return out, err
}

// Entry gives one entry; cook.ErrNotFound if there is none.
func (db *DB) Entry(ctx context.Context, seq int64) (record.Entry, error) {
	list, err := db.Entries(ctx, record.Query{After: seq - 1, Limit: 1})
	if err == nil && (len(list) == 0 || list[0].Seq != seq) {
		err = fmt.Errorf("entry %d: %w", seq, cook.ErrNotFound)
	}
	if err != nil {
		return record.Entry{}, err
	}
	return list[0], nil
}

const journalColumns = `select seq, lot, kind, at, entered, who, auth, body, corrects, reason, prev, hash from journal `

func queryJournal(ctx context.Context, tx *sql.Tx, rest string, args ...any) ([]record.Entry, error) {
	rows, err := tx.QueryContext(ctx, journalColumns+rest, args...)
	if err != nil {
		return nil, err
	}
	return collect(rows, scanEntry)
}

func scanEntry(rows *sql.Rows) (e record.Entry, err error) {
	var at, entered int64
	var body string
	var prev, hash []byte
	err = rows.Scan(&e.Seq, &e.Lot, &e.Kind, &at, &entered, &e.By, &e.Auth, &body, &e.Corrects, &e.Reason, &prev, &hash)
	if err == nil && (len(prev) != len(e.Prev) || len(hash) != len(e.Hash)) {
		err = fmt.Errorf("entry %d has a hash of the wrong length: the journal was tampered with, see `stallkeeper records verify`", e.Seq)
	}
	e.At, e.Entered, e.Body = instant(at), instant(entered), json.RawMessage(body)
	copy(e.Prev[:], prev)
	copy(e.Hash[:], hash)
	return e, err
}

// Lot folds a lot; cook.ErrNotFound if it was never opened.
func (db *DB) Lot(ctx context.Context, id cook.LotID) (*record.Lot, error) {
	if id == "" {
		return nil, fmt.Errorf("lot without a name: %w", cook.ErrNotFound)
	}
	entries, err := db.Entries(ctx, record.Query{Lot: &id})
	if err != nil {
		return nil, err
	}
	lot, err := record.Fold(entries)
	if err != nil {
		return nil, fmt.Errorf("read lot %s: %w", id, err)
	}
	if lot.Opened.IsZero() {
		return nil, fmt.Errorf("lot %s: %w", id, cook.ErrNotFound)
	}
	return lot, nil
}

// notWithdrawn and notClosed narrow openings to lots that are, and to those whose work goes on.
const (
	notWithdrawn = ` and not exists (select 1 from journal w where w.lot = j.lot and w.corrects = j.seq and w.kind = 'withdrawal')`
	notClosed    = ` and not exists (select 1 from journal c where c.lot = j.lot and c.kind = 'lot-closed'
		and not exists (select 1 from journal r where r.lot = c.lot and r.corrects = c.seq))`
)

// Lots folds lots, newest first, from before the one that the numbered entry opened; 0 begins at the newest. running leaves out those
// that are closed. next is what to give for the following page, 0 when there is none.
func (db *DB) Lots(ctx context.Context, beforeSeq int64, limit int, running bool) (lots []*record.Lot, next int64, err error) {
	query := `select seq, lot from journal j where kind = 'lot-opened' and corrects = 0 and seq < ?` + notWithdrawn
	if running {
		query += notClosed
	}
	rows, err := db.reader.QueryContext(ctx, query+` order by seq desc limit ?`, before(beforeSeq), limit+1)
	if err != nil {
		return nil, 0, db.explain("read lots", err)
	}
	type opening struct {
		seq int64
		lot cook.LotID
	}
	openings, err := collect(rows, func(rows *sql.Rows) (o opening, err error) {
		err = rows.Scan(&o.seq, &o.lot)
		return o, err
	})
	if err != nil {
		return nil, 0, db.explain("read lots", err)
	}
	if len(openings) > limit {
		openings = openings[:limit]
		next = openings[limit-1].seq
	}
	for _, o := range openings {
		lot, err := db.Lot(ctx, o.lot)
		if errors.Is(err, cook.ErrNotFound) {
			continue // withdrawn since
		}
		if err != nil {
			return nil, 0, err
		}
		lots = append(lots, lot)
	}
	return lots, next, nil
}
