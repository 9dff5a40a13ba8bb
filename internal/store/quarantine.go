package store

import (
	"context"
	"database/sql"
	"math"

	"stallkeeper/internal/cook"
)

// Quarantine gives payloads that could not become readings, newest first, from before the numbered one; 0 begins at the newest.
func (db *DB) Quarantine(ctx context.Context, beforeID int64, limit int) ([]cook.Quarantined, error) {
	rows, err := db.reader.QueryContext(ctx, `select id, time, topic, payload, reason from quarantine where id < ? order by id desc limit ?`,
		before(beforeID), limit)
	if err != nil {
		return nil, db.explain("read quarantine", err)
	}
	out, err := collect(rows, func(rows *sql.Rows) (q cook.Quarantined, err error) {
		var at int64
		err = rows.Scan(&q.ID, &at, &q.Topic, &q.Payload, &q.Reason)
		q.Time = instant(at)
		return q, err
	})
	if err != nil {
		return nil, db.explain("read quarantine", err)
	}
	return out, nil
}

// before makes "0 = from the newest" a bound.
func before(id int64) int64 {
	if id == 0 {
		return math.MaxInt64
	}
	return id
}
