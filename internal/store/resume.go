package store

import (
	"context"

	"stallkeeper/internal/alarm"
)

// LatestAlarms gives the latest state of every alarm there ever was, by its name.
func (db *DB) LatestAlarms(ctx context.Context) ([]alarm.Alarm, error) {
	return db.readAlarms(ctx, `select body from alarms order by alarm`)
}

// LastSeq gives the sequence number of the newest committed reading, 0 when there is none.
func (db *DB) LastSeq(ctx context.Context) (int64, error) {
	var seq int64
	err := db.reader.QueryRowContext(ctx, `select coalesce(max(seq), 0) from readings`).Scan(&seq)
	if err != nil {
		return 0, db.explain("find the newest reading", err)
	}
	return seq, nil
}
