package store

import (
	"context"
	"database/sql"
	"errors"
	"iter"
	"math"
	"slices"
	"strings"
	"time"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// Sequenced is a reading with its place in the order of commits.
type Sequenced struct {
	Seq int64
	cook.Reading
}

// Probe is a probe that was ever heard, with the times of its earliest and latest reading.
type Probe struct {
	ID          cook.ProbeID
	First, Last time.Time
}

const readingColumns = `r.seq, p.name, r.time, r.celsius, r.quality, r.clock, r.retained, r.backlog, r.delay, r.device_seq, r.raw`

// ReadingsAfter gives at most limit readings committed after the one numbered seq, in the order of commits; 0 begins at the start.
// Within one batch the order is that of Put.
func (db *DB) ReadingsAfter(ctx context.Context, seq int64, limit int) ([]Sequenced, error) {
	return db.readRows(ctx, nil, `select `+readingColumns+` from readings r join probes p on p.id = r.probe
		where r.seq > ? order by r.seq limit ?`, seq, limit)
}

// Spoken gives the newest reading of each probe among those committed after the one numbered after, up to the one numbered through, and
// without those that a broker had kept from before.
func (db *DB) Spoken(ctx context.Context, after, through int64) ([]Sequenced, error) {
	// With max() alone the other columns are those of its row (SQLite, "Bare columns in an aggregate query").
	return db.readRows(ctx, nil, `select max(r.seq), `+strings.TrimPrefix(readingColumns, "r.seq, ")+` from readings r join probes p on p.id = r.probe
		where r.seq > ? and r.seq <= ? and r.retained = 0 group by r.probe order by r.probe`, after, through)
}

// Probes are all that were ever heard, by name.
func (db *DB) Probes(ctx context.Context) ([]Probe, error) {
	rows, err := db.reader.QueryContext(ctx, `select name, first, last from (select name,
		(select min(time) from readings where probe = p.id) first, (select max(time) from readings where probe = p.id) last from probes p)
		where first is not null order by name`)
	if err != nil {
		return nil, db.explain("read probes", err)
	}
	return collect(rows, func(rows *sql.Rows) (p Probe, err error) {
		var first, last int64
		err = rows.Scan(&p.ID, &first, &last)
		p.First, p.Last = instant(first), instant(last)
		return p, err
	})
}

// Readings gives a page of readings: ascending by time, then by probe; From inclusive, To exclusive, zero times open; Probe "" is
// every probe. With AfterTime it begins behind that time and AfterProbe.
func (db *DB) Readings(ctx context.Context, q cook.ReadingQuery) ([]cook.Reading, error) {
	if q.Limit <= 0 {
		return nil, nil
	}
	var probes []cook.ProbeID
	if q.Probe != "" {
		probes = []cook.ProbeID{q.Probe}
	}
	m, err := db.newMerge(ctx, probes, q)
	if err != nil {
		return nil, err
	}
	var out []cook.Reading
	for len(out) < q.Limit {
		r, ok, err := m.next(ctx)
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		out = append(out, r)
	}
	return out, nil
}

// ReadingsOf streams the readings of the probes (nil = every probe) from inclusive, to exclusive, zero times open, ascending by time, then
// by probe. It holds neither a connection nor a transaction between readings. It ends after an error.
func (db *DB) ReadingsOf(ctx context.Context, probes []cook.ProbeID, from, to time.Time) iter.Seq2[cook.Reading, error] {
	return db.ReadingsThrough(ctx, probes, from, to, math.MaxInt64)
}

// ReadingsThrough streams what ReadingsOf does, and of that only what was committed up to the sequence number: the same
// readings however long it takes and whatever is committed meanwhile.
func (db *DB) ReadingsThrough(ctx context.Context, probes []cook.ProbeID, from, to time.Time, seq int64) iter.Seq2[cook.Reading, error] {
	return func(yield func(cook.Reading, error) bool) {
		m, err := db.newMerge(ctx, probes, cook.ReadingQuery{From: from, To: to, Limit: streamChunk})
		if err == nil {
			m.through = seq
		}
		for err == nil {
			var r cook.Reading
			var ok bool
			if r, ok, err = m.next(ctx); err == nil && (!ok || !yield(r, nil)) {
				return
			}
		}
		yield(cook.Reading{}, err)
	}
}

// streamChunk is about how many readings a stream holds in memory, some 150 bytes each.
const streamChunk = 1024

// merge brings the readings of several probes into one order, reading each in chunks along its index.
type merge struct {
	db      *DB
	to      int64
	through int64 // sequence number of the last commit that counts
	chunk   int
	runs    []*run
}

// run is what is still to come of one probe.
type run struct {
	probe cook.ProbeID
	rows  []Sequenced // used again for each chunk
	ahead []Sequenced // what is left of rows
	from  int64
	done  bool // nothing behind ahead
}

func (db *DB) newMerge(ctx context.Context, probes []cook.ProbeID, q cook.ReadingQuery) (*merge, error) {
	if probes == nil {
		all, err := db.Probes(ctx)
		if err != nil {
			return nil, err
		}
		for _, p := range all {
			if !p.Last.Before(q.From) && !p.Last.Before(q.AfterTime) && (q.To.IsZero() || p.First.Before(q.To)) {
				probes = append(probes, p.ID) // the others have nothing here
			}
		}
	}
	probes = slices.Clone(probes)
	slices.Sort(probes)
	probes = slices.Compact(probes)
	from, to := span(q.From, q.To)
	m := &merge{db: db, to: to, through: math.MaxInt64, chunk: q.Limit}
	if n := len(probes); n > 1 {
		m.chunk = min(q.Limit, max(64, 2*q.Limit/n))
	}
	for _, p := range probes {
		start := from
		if !q.AfterTime.IsZero() {
			after := ceilMicros(q.AfterTime)
			if p <= q.AfterProbe && instant(after).Equal(q.AfterTime) {
				after++
			}
			start = max(from, after)
		}
		m.runs = append(m.runs, &run{probe: p, from: start})
	}
	return m, nil
}

// next gives the earliest reading; of several the one of the first probe.
func (m *merge) next(ctx context.Context) (cook.Reading, bool, error) {
	var first *run
	for _, r := range m.runs {
		if err := m.fill(ctx, r); err != nil {
			return cook.Reading{}, false, err
		}
		if len(r.ahead) > 0 && (first == nil || r.ahead[0].Time.Before(first.ahead[0].Time)) {
			first = r
		}
	}
	if first == nil {
		return cook.Reading{}, false, nil
	}
	out := first.ahead[0].Reading
	first.ahead = first.ahead[1:]
	return out, true, nil
}

func (m *merge) fill(ctx context.Context, r *run) error {
	if len(r.ahead) > 0 || r.done {
		return nil
	}
	rows, err := m.db.readRows(ctx, r.rows[:0], `select `+readingColumns+` from probes p join readings r on r.probe = p.id
		where p.name = ? and r.time >= ? and r.time < ? and r.seq <= ? order by r.time limit ?`, string(r.probe), r.from, m.to, m.through, m.chunk)
	if err != nil {
		return err
	}
	r.rows, r.ahead, r.done = rows, rows, len(rows) < m.chunk
	if len(rows) > 0 {
		r.from = micros(rows[len(rows)-1].Time) + 1
	}
	return nil
}

// readRows appends what the query gives to into.
func (db *DB) readRows(ctx context.Context, into []Sequenced, query string, args ...any) ([]Sequenced, error) {
	rows, err := db.reader.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, db.explain("read readings", err)
	}
	intern := map[string]cook.ProbeID{}
	out, err := collectInto(into, rows, func(rows *sql.Rows) (Sequenced, error) { return scanReading(rows, intern) })
	if err != nil {
		return nil, db.explain("read readings", err)
	}
	return out, nil
}

func scanReading(rows *sql.Rows, intern map[string]cook.ProbeID) (Sequenced, error) {
	var s Sequenced
	var name sql.RawBytes
	var at int64
	var celsius float64
	var quality, clock int
	var delay sql.NullInt64
	var raw sql.NullString
	err := rows.Scan(&s.Seq, &name, &at, &celsius, &quality, &clock, &s.Retained, &s.Backlog, &delay, &s.Reading.Seq, &raw)
	if err != nil {
		return s, err
	}
	id, ok := intern[string(name)]
	if !ok {
		id = cook.ProbeID(strings.Clone(string(name)))
		intern[string(id)] = id
	}
	if quality >= len(qualities()) || clock >= len(clocks()) || quality < 0 || clock < 0 {
		return s, errors.New("a reading has an unknown quality or clock: the database was changed by another program, restore a backup")
	}
	s.Probe, s.Time, s.Celsius, s.Raw = id, instant(at), thermal.Celsius(celsius), raw.String
	s.Quality, s.Clock = qualities()[quality], clocks()[clock]
	if delay.Valid {
		s.Arrived = instant(at + delay.Int64)
	}
	return s, nil
}

// collect reads all rows and closes them.
func collect[T any](rows *sql.Rows, scan func(*sql.Rows) (T, error)) ([]T, error) {
	return collectInto(nil, rows, scan)
}

// collectInto appends all rows to out and closes them.
func collectInto[T any](out []T, rows *sql.Rows, scan func(*sql.Rows) (T, error)) ([]T, error) {
	defer rows.Close()
	for rows.Next() {
		one, err := scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, one)
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	return out, rows.Close()
}
