package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"math"
	"os"
	"time"

	"github.com/mattn/go-sqlite3"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/record"
)

// VerifyOptions say what VerifyRecords looks at.
type VerifyOptions struct {
	Trust    record.PublicKey    // nil: what the journal itself names
	Outside  []record.Checkpoint // kept elsewhere
	Readings bool                // also sum up every reading anew and hold it against the seals
}

// VerifyRecords looks over the journal, the seals and the checkpoints of the database at path, without writing to it, also beside a
// running daemon. What was tampered with is in the report; an error is only what keeps it from looking.
func VerifyRecords(ctx context.Context, path string, o VerifyOptions) (*record.Report, error) {
	db, err := openBeside(path)
	if err != nil {
		return nil, err
	}
	r, err := verifyIn(ctx, db, path, o)
	return r, errors.Join(err, db.Close())
}

// openBeside opens for reading a file that a daemon may be writing.
func openBeside(path string) (*sql.DB, error) {
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("open database: %w (name the daemon's folder with --data)", err)
	}
	_, err := os.Stat(path + "-wal")
	return openReadOnly(path, errors.Is(err, fs.ErrNotExist))
}

func verifyIn(ctx context.Context, db *sql.DB, path string, o VerifyOptions) (*record.Report, error) {
	tx, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}) // one state of all tables
	if err != nil {
		return nil, damage(path, err)
	}
	r, err := verifyTables(ctx, tx, path, o)
	return r, errors.Join(err, tx.Rollback())
}

func verifyTables(ctx context.Context, tx *sql.Tx, path string, o VerifyOptions) (*record.Report, error) {
	var tables int
	if err := tx.QueryRowContext(ctx, `select count(*) from sqlite_schema where type = 'table' and name in ('journal', 'seals', 'checkpoints')`).Scan(&tables); err != nil {
		return nil, damage(path, err)
	}
	if tables != 3 {
		return nil, fmt.Errorf("database %q has no records yet: start the daemon on it once", path)
	}
	m := record.Material{Trust: o.Trust, Outside: o.Outside, Lines: journalLines(ctx, tx), Seals: sealLines(ctx, tx, -math.MaxInt64, math.MaxInt64)}
	checkpoints, found, err := strictCheckpoints(ctx, tx)
	if err != nil {
		return nil, damage(path, err)
	}
	m.Checkpoints = checkpoints
	r, err := record.Verify(m)
	if err != nil {
		return nil, damage(path, err)
	}
	for _, f := range found {
		r.Add(f.Where, f.Number, "%s", f.Problem)
	}
	for _, table := range []struct{ name, where string }{{"journal", "entry"}, {"seals", "seal"}, {"checkpoints", "checkpoint"}} {
		verdict, err := tableCheck(ctx, tx, table.name)
		if err != nil {
			return nil, damage(path, err)
		}
		if verdict != "ok" {
			r.Add(table.where, 0, "the table is damaged: %s", verdict)
		}
	}
	if o.Readings {
		if err := checkReadings(ctx, tx, r); err != nil {
			return nil, damage(path, err)
		}
	}
	return r, nil
}

// tableCheck has SQLite look over a table and its indexes.
func tableCheck(ctx context.Context, tx *sql.Tx, table string) (string, error) {
	var verdict string
	err := tx.QueryRowContext(ctx, "pragma integrity_check('"+table+"')").Scan(&verdict)
	if corrupt(err) {
		return err.Error(), nil
	}
	return verdict, err
}

func corrupt(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) && (e.Code == sqlite3.ErrCorrupt || e.Code == sqlite3.ErrNotADB)
}

// strictly reads rows of a table, demanding the types that were written. A row with others, and a table that breaks off, give
// record.ErrUnreadable.
func strictly[T any](ctx context.Context, tx querier, query string, columns int, of func(row) (T, error)) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		var none T
		rows, err := tx.QueryContext(ctx, query)
		if err != nil {
			yield(none, unreadable(err))
			return
		}
		defer rows.Close()
		values := row{values: make([]any, columns)}
		targets := values.targets()
		for rows.Next() {
			if err := rows.Scan(targets...); err != nil {
				yield(none, unreadable(err))
				return
			}
			values.err = nil
			one, err := of(values)
			if !yield(one, err) {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(none, unreadable(err))
		}
	}
}

func unreadable(err error) error {
	if corrupt(err) {
		return fmt.Errorf("%w: %w", record.ErrUnreadable, err)
	}
	return err
}

// row is one row as SQLite gives it.
type row struct {
	values []any
	err    error
}

func (r *row) targets() []any {
	out := make([]any, len(r.values))
	for i := range r.values {
		out[i] = &r.values[i]
	}
	return out
}

func column[T any](r *row, i int) T {
	v, ok := r.values[i].(T)
	if !ok && r.err == nil {
		r.err = fmt.Errorf("%w: column %d has another type than was written", record.ErrUnreadable, i+1)
	}
	return v
}

func (r *row) hash(i int) (h record.Hash) {
	b := column[[]byte](r, i)
	if len(b) != len(h) && r.err == nil {
		r.err = fmt.Errorf("%w: column %d is no hash", record.ErrUnreadable, i+1)
	}
	copy(h[:], b)
	return h
}

func (r *row) time(i int) time.Time { return instant(column[int64](r, i)) }

func (r *row) degrees(i int) *thermal.Celsius {
	if r.values[i] == nil {
		return nil
	}
	c := thermal.Celsius(column[float64](r, i))
	return &c
}

func journalLines(ctx context.Context, tx *sql.Tx) iter.Seq2[record.Line, error] {
	return strictly(ctx, tx, journalColumns+`not indexed order by seq`, 12, func(r row) (record.Line, error) {
		e := &record.Entry{Seq: column[int64](&r, 0), Lot: cook.LotID(column[string](&r, 1)), Kind: record.Kind(column[string](&r, 2)), At: r.time(3), Entered: r.time(4),
			By: column[string](&r, 5), Auth: record.Auth(column[string](&r, 6)), Body: json.RawMessage(column[string](&r, 7)),
			Corrects: column[int64](&r, 8), Reason: column[string](&r, 9), Prev: r.hash(10), Hash: r.hash(11)}
		return record.Line{Entry: e}, r.err
	})
}

const sealColumns = `select seq, probe, hour, count, min, max, digest, through, made, replaces, prev, hash from seals `

// sealLines gives the seals numbered from first to last.
func sealLines(ctx context.Context, tx *sql.Tx, first, last int64) iter.Seq2[record.SealLine, error] {
	return strictly(ctx, tx, sealColumns+fmt.Sprintf(`not indexed where seq >= %d and seq <= %d order by seq`, first, last), 12, func(r row) (record.SealLine, error) {
		s := &record.Seal{Seq: column[int64](&r, 0), Readings: record.Readings{Probe: cook.ProbeID(column[string](&r, 1)), Hour: r.time(2), Count: column[int64](&r, 3),
			Min: r.degrees(4), Max: r.degrees(5), Digest: r.hash(6), Through: column[int64](&r, 7)}, Made: r.time(8), Replaces: column[int64](&r, 9), Prev: r.hash(10), Hash: r.hash(11)}
		return record.SealLine{Seal: s}, r.err
	})
}

// strictCheckpoints reads the checkpoints; their numbers have no gap.
func strictCheckpoints(ctx context.Context, tx *sql.Tx) (out []record.Checkpoint, found []record.Finding, err error) {
	next := int64(1)
	type numbered struct {
		id int64
		c  record.Checkpoint
	}
	rows := strictly(ctx, tx, `select at, seq, head, seal, seals, public, signature, id from checkpoints order by id`, 8, func(r row) (numbered, error) {
		c := record.Checkpoint{At: r.time(0), Seq: column[int64](&r, 1), Head: r.hash(2), Seal: column[int64](&r, 3), Seals: r.hash(4),
			Key: record.PublicKey(column[[]byte](&r, 5)), Signature: record.Signature(column[[]byte](&r, 6))}
		return numbered{column[int64](&r, 7), c}, r.err
	})
	for n, err := range rows {
		switch {
		case errors.Is(err, record.ErrUnreadable):
			found = append(found, record.Finding{Where: "checkpoint", Number: next, Problem: err.Error()})
		case err != nil:
			return nil, nil, err
		case n.id != next:
			found = append(found, record.Finding{Where: "checkpoint", Number: next, Problem: "it is missing or moved"})
			next = n.id
		}
		if err == nil {
			out = append(out, n.c)
		}
		next++
	}
	return out, found, nil
}

// checkReadings sums up every reading anew. Those that came after the newest seal was made are not sealed yet and count for nothing.
func checkReadings(ctx context.Context, tx *sql.Tx, r *record.Report) error {
	c := &readingCheck{seals: map[probeHour]record.Readings{}, met: map[probeHour]bool{}, r: r}
	if err := c.load(ctx, tx); err != nil {
		return err
	}
	rows, err := tx.QueryContext(ctx, `select id, name from probes order by id`)
	if err != nil {
		return err
	}
	names := map[int64]cook.ProbeID{}
	ids, err := collect(rows, func(rows *sql.Rows) (id int64, err error) {
		var name string
		err = rows.Scan(&id, &name)
		names[id] = cook.ProbeID(name)
		return id, err
	})
	if err != nil {
		return err
	}
	for _, id := range ids {
		for one, err := range leanReadings(ctx, tx, names[id], fmt.Sprintf(`where r.probe = %d order by r.time`, id)) {
			switch {
			case errors.Is(err, record.ErrUnreadable):
				r.Add("readings", 0, "of %s after %s: %v", names[id], c.hour.at.Format(time.RFC3339), err)
			case err != nil:
				return err
			default:
				c.take(one)
			}
		}
		c.end()
	}
	for h, s := range c.seals {
		if !c.met[h] {
			r.Add("readings", 0, "of %s in the hour from %s: all %d are missing", h.probe, h.at.Format(time.RFC3339), s.Count)
		}
	}
	return nil
}

// leanReadings streams readings of one probe with as few columns as hold them: a year has thirty million.
func leanReadings(ctx context.Context, tx querier, probe cook.ProbeID, rest string) iter.Seq2[Sequenced, error] {
	return strictly(ctx, tx, `select r.seq, r.time, r.celsius, r.quality | (r.clock << 8) | (r.retained << 16) | (r.backlog << 17), r.delay, r.device_seq, r.raw from readings r `+rest, 7,
		func(r row) (Sequenced, error) {
			s := Sequenced{Seq: column[int64](&r, 0), Reading: cook.Reading{Probe: probe, Time: r.time(1), Celsius: thermal.Celsius(column[float64](&r, 2)), Seq: column[int64](&r, 5)}}
			flags := column[int64](&r, 3)
			quality, clock := int(flags&0xff), int(flags>>8&0xff)
			if flags < 0 || flags>>18 != 0 || quality >= len(qualities()) || clock >= len(clocks()) {
				return s, fmt.Errorf("%w: it has an unknown quality or clock", record.ErrUnreadable)
			}
			s.Quality, s.Clock, s.Retained, s.Backlog = qualities()[quality], clocks()[clock], flags>>16&1 != 0, flags>>17&1 != 0
			if r.values[4] != nil {
				s.Arrived = instant(s.Time.UnixMicro() + column[int64](&r, 4))
			}
			if r.values[6] != nil {
				s.Raw = column[string](&r, 6)
			}
			return s, r.err
		})
}

// querier is a transaction or a pool of connections.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

type probeHour struct {
	probe cook.ProbeID
	at    time.Time
}

// readingCheck sums up the hours as they go by.
type readingCheck struct {
	seals   map[probeHour]record.Readings // the newest of each hour
	through int64                         // the newest reading that was there when the newest seal was made
	closed  time.Time                     // the hours before it were over then
	r       *record.Report
	met     map[probeHour]bool

	hour  probeHour
	sum   *record.Digester
	late  int64 // readings behind the seal of the hour
	stray int64 // of them those that should have been sealed
}

// load reads the seals.
func (c *readingCheck) load(ctx context.Context, tx *sql.Tx) error {
	for line, err := range sealLines(ctx, tx, -math.MaxInt64, math.MaxInt64) {
		if errors.Is(err, record.ErrUnreadable) {
			continue // the chain of seals has named it
		}
		if err != nil {
			return err
		}
		s := line.Seal
		c.seals[probeHour{s.Probe, s.Hour}] = s.Readings
		c.through = max(c.through, s.Through)
		if closed := closedAt(s.Made); closed.After(c.closed) {
			c.closed = closed
		}
	}
	return nil
}

func (c *readingCheck) take(s Sequenced) {
	h := probeHour{s.Probe, s.Time.Truncate(time.Hour)}
	if c.sum == nil || h != c.hour {
		c.end()
		c.hour, c.sum, c.late, c.stray = h, record.NewDigester(s.Probe, h.at), 0, 0
	}
	if seal, sealed := c.seals[h]; sealed && s.Seq <= seal.Through {
		c.sum.Add(s.Reading)
		return
	}
	c.late++
	if s.Seq <= c.through && h.at.Before(c.closed) {
		c.stray++
	}
}

// end holds the hour against its seal.
func (c *readingCheck) end() {
	if c.sum == nil {
		return
	}
	seal, sealed := c.seals[c.hour]
	got := c.sum.Readings()
	c.met[c.hour] = got.Count > 0
	at := c.hour.at.Format(time.RFC3339)
	switch {
	case sealed && got.Count == 0: // named as missing in the end
	case sealed && got.Count != seal.Count:
		c.r.Add("readings", 0, "of %s in the hour from %s: %d stand there, %d were sealed", c.hour.probe, at, got.Count, seal.Count)
	case sealed && got.Digest != seal.Digest:
		c.r.Add("readings", 0, "of %s in the hour from %s: they are not those that were sealed", c.hour.probe, at)
	}
	if c.stray > 0 {
		c.r.Add("readings", 0, "of %s in the hour from %s: %d were put in beside those that were sealed", c.hour.probe, at, c.stray)
	}
	c.sum = nil
}
