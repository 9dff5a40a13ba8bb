package store

import (
	"context"
	"database/sql"
	"time"

	"stallkeeper/internal/cook"
)

// thinned cuts the span from ?2 to ?3 into stretches of ?4 microseconds. Asking for each along the key needs no sorting. A value that the
// broker had kept, timed only by its arrival, says nothing about that time and is left out.
const thinned = `
with recursive stretch (lo, hi) as (
	select ?2, min(?2 + ?4, ?3) union all select hi, min(hi + ?4, ?3) from stretch where hi < ?3
)
select * from (select
	(select time from readings where ` + within + ` order by time limit 1) first,
	(select min(celsius) from readings where ` + within + `),
	(select max(celsius) from readings where ` + within + `),
	(select celsius from readings where ` + within + ` order by time desc limit 1),
	hi
from stretch) where first is not null`

const within = `probe = ?1 and time >= lo and time < hi and quality = 0 and (retained = 0 or clock <> 1)`

// Series thins a probe's good readings, from inclusive, to exclusive, zero times open, to at most points stretches of
// equal length that keep the extremes. Stretches without a reading are left out. Stretches of an hour and more begin at whole hours and
// last whole hours: their extremes come from the seals of the hours, so that years take no longer than a month.
func (db *DB) Series(ctx context.Context, probe cook.ProbeID, from, to time.Time, points int) ([]cook.Bucket, error) {
	lo, hi := span(from, to)
	var id int64
	var first, last sql.NullInt64
	err := db.reader.QueryRowContext(ctx, `select id, (select min(time) from readings where probe = p.id and time >= ?2 and time < ?3),
		(select max(time) from readings where probe = p.id and time >= ?2 and time < ?3) from probes p where name = ?1`, string(probe), lo, hi).Scan(&id, &first, &last)
	if err == sql.ErrNoRows || err == nil && !first.Valid || points <= 0 {
		return nil, nil
	}
	if err != nil {
		return nil, db.explain("read series", err)
	}
	if from.IsZero() {
		lo = first.Int64
	}
	if to.IsZero() {
		hi = last.Int64 + 1
	}
	width := (hi-lo-1)/int64(points) + 1
	if width >= hourMicros {
		return db.hourly(ctx, probeSpan{probe, id, lo, hi}, points)
	}
	rows, err := db.reader.QueryContext(ctx, thinned, id, lo, hi, width)
	if err != nil {
		return nil, db.explain("read series", err)
	}
	out, err := collect(rows, func(rows *sql.Rows) (b cook.Bucket, err error) {
		var at, until int64
		err = rows.Scan(&at, &b.Min, &b.Max, &b.Last, &until)
		b.Time, b.Until = instant(at), instant(until)
		return b, err
	})
	if err != nil {
		return nil, db.explain("read series", err)
	}
	return out, nil
}
