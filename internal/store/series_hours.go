package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"math"
	"slices"

	"stallkeeper/estimator/thermal"
	"stallkeeper/internal/cook"
)

// The rules here are:
//   - The seal of an hour says the least and the greatest of its good readings. It counts only for an hour that lies wholly within the span
//     and got no reading since the last round of sealing: the others, and those that are not sealed yet, are looked through.
//   - So is an hour with a value that the broker had kept, timed by its arrival: the seal has it, a series leaves it out.
//   - All is read from one state of the database, so that a bucket agrees with itself.

// probeSpan is a stretch of a probe's readings, in microseconds.
type probeSpan struct {
	probe  cook.ProbeID
	id     int64
	lo, hi int64
}

// extremes are the least and the greatest good reading; least > greatest when there is none.
type extremes struct{ least, greatest float64 }

func none() extremes { return extremes{math.Inf(1), math.Inf(-1)} }

func (e *extremes) join(other extremes) {
	e.least, e.greatest = min(e.least, other.least), max(e.greatest, other.greatest)
}

// hourly is Series in stretches of whole hours.
func (db *DB) hourly(ctx context.Context, s probeSpan, points int) (out []cook.Bucket, err error) {
	done, err := db.sealedTo(ctx) // before the rest: what came since is looked through
	if err != nil {
		return nil, err
	}
	start := hourStart(s.lo)
	width := (s.hi-start-1)/int64(points) + 1
	width = hourStart(width + hourMicros - 1)
	err = db.readTogether(ctx, "read series", func(tx *sql.Tx) error {
		sealed, err := sealedExtremes(ctx, tx, s, done)
		if err != nil {
			return err
		}
		for at := start; at < s.hi; at += width {
			n, _ := slices.BinarySearchFunc(sealed, at+width, func(h sealedHour, end int64) int { return cmp.Compare(h.begins, end) })
			b, ok, err := bucket(ctx, tx, probeSpan{s.probe, s.id, max(at, s.lo), min(at+width, s.hi)}, sealed[:n])
			sealed = sealed[n:]
			if err != nil {
				return err
			}
			if ok {
				out = append(out, b)
			}
		}
		return nil
	})
	return out, err
}

// hourStart rounds down to a whole hour, also before 1970.
func hourStart(us int64) int64 { return us - (us%hourMicros+hourMicros)%hourMicros }

// sealedHour is an hour whose seal counts.
type sealedHour struct {
	begins int64
	extremes
}

// sealedExtremes are the hours within the span whose seals count, in their order.
func sealedExtremes(ctx context.Context, tx *sql.Tx, s probeSpan, done sealedTo) (out []sealedHour, err error) {
	if done.Until.IsZero() {
		return nil, nil
	}
	// Of a group with max() the other columns are of the row that has it: https://sqlite.org/lang_select.html#bareagg
	err = each(ctx, tx, func(rows *sql.Rows) error {
		h := sealedHour{extremes: none()}
		var newest int64
		var least, greatest sql.NullFloat64
		err := rows.Scan(&h.begins, &least, &greatest, &newest)
		if least.Valid && greatest.Valid {
			h.extremes = extremes{least.Float64, greatest.Float64}
		}
		out = append(out, h)
		return err
	}, `select hour, min, max, max(seq) from seals where probe = ? and hour >= ? and hour <= ? group by hour order by hour`,
		string(s.probe), hourStart(s.lo+hourMicros-1), min(s.hi, micros(done.Until))-hourMicros)
	if err != nil {
		return nil, err
	}
	open := map[int64]bool{}
	note := func(rows *sql.Rows) error {
		var hour int64
		err := rows.Scan(&hour)
		open[hour] = true
		return err
	}
	const hours = `select distinct time - ((time % ?1) + ?1) % ?1 from readings `
	err = errors.Join(each(ctx, tx, note, hours+`indexed by readings_by_seq where seq > ?2 and probe = ?3`, hourMicros, done.Seq, s.id),
		each(ctx, tx, note, hours+`indexed by readings_retained where probe = ?2 and retained = 1 and clock = 1`, hourMicros, s.id))
	return slices.DeleteFunc(out, func(h sealedHour) bool { return open[h.begins] }), err
}

// each calls take for each row of a query.
func each(ctx context.Context, tx *sql.Tx, take func(*sql.Rows) error, query string, args ...any) error {
	rows, err := tx.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := take(rows); err != nil {
			return err
		}
	}
	return errors.Join(rows.Err(), rows.Close())
}

const (
	spanWithin = `from readings where probe = ?1 and time >= ?2 and time < ?3 and quality = 0 and (retained = 0 or clock <> 1)`
	spanEnds   = `select (select time ` + spanWithin + ` order by time limit 1), (select celsius ` + spanWithin + ` order by time desc limit 1)`
	spanMost   = `select min(celsius), max(celsius) ` + spanWithin
)

// bucket sums up one stretch, whose sealed hours are given; ok is false when it has no good reading.
func bucket(ctx context.Context, tx *sql.Tx, s probeSpan, sealed []sealedHour) (b cook.Bucket, ok bool, err error) {
	var first sql.NullInt64
	var last sql.NullFloat64
	if err := tx.QueryRowContext(ctx, spanEnds, s.id, s.lo, s.hi).Scan(&first, &last); err != nil || !first.Valid {
		return b, false, err
	}
	sum := none()
	look := func(lo, hi int64) error {
		if lo >= hi {
			return nil
		}
		var least, greatest sql.NullFloat64
		err := tx.QueryRowContext(ctx, spanMost, s.id, lo, hi).Scan(&least, &greatest)
		if least.Valid {
			sum.join(extremes{least.Float64, greatest.Float64})
		}
		return err
	}
	open := s.lo // from here on nothing has been looked at
	for _, h := range sealed {
		if err := look(open, h.begins); err != nil {
			return b, false, err
		}
		sum.join(h.extremes)
		open = h.begins + hourMicros
	}
	if err := look(open, s.hi); err != nil {
		return b, false, err
	}
	return cook.Bucket{Time: instant(first.Int64), Until: instant(s.hi), Min: thermal.Celsius(sum.least), Max: thermal.Celsius(sum.greatest),
		Last: thermal.Celsius(last.Float64)}, true, nil
}
