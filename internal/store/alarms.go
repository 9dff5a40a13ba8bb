package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"stallkeeper/internal/alarm"
)

// KeepAlarm keeps a state that an alarm took: appended to the log of changes, and as its latest.
func (db *DB) KeepAlarm(ctx context.Context, a alarm.Alarm) error {
	body, err := json.Marshal(a)
	if err != nil {
		return fmt.Errorf("keep alarm %q: %w", string(a.ID), err)
	}
	return db.write(ctx, "keep alarm", func(tx *sql.Tx) error {
		return keepAlarm(ctx, tx, a, body)
	})
}

func keepAlarm(ctx context.Context, tx *sql.Tx, a alarm.Alarm, body []byte) error {
	if _, err := tx.ExecContext(ctx, `insert into alarm_changes (alarm, state, changed, body) values (?, ?, ?, ?)`,
		string(a.ID), string(a.State), micros(a.Changed), string(body)); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `insert into alarms (alarm, state, body) values (?, ?, ?)
		on conflict (alarm) do update set state = excluded.state, body = excluded.body`, string(a.ID), string(a.State), string(body))
	return err
}

// OpenAlarms gives the latest state of every alarm that is not Normal, by its name.
func (db *DB) OpenAlarms(ctx context.Context) ([]alarm.Alarm, error) {
	return db.readAlarms(ctx, `select body from alarms where state <> ? order by alarm`, string(alarm.Normal))
}

// AlarmHistory gives the states that alarms took, from before a time (zero = all), newest first.
func (db *DB) AlarmHistory(ctx context.Context, before time.Time, limit int) ([]alarm.Alarm, error) {
	_, hi := span(time.Time{}, before)
	return db.readAlarms(ctx, `select body from alarm_changes where changed < ? order by changed desc, id desc limit ?`, hi, limit)
}

func (db *DB) readAlarms(ctx context.Context, query string, args ...any) ([]alarm.Alarm, error) {
	rows, err := db.reader.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, db.explain("read alarms", err)
	}
	out, err := collect(rows, func(rows *sql.Rows) (a alarm.Alarm, err error) {
		var body []byte
		if err := rows.Scan(&body); err != nil {
			return a, err
		}
		err = json.Unmarshal(body, &a)
		return a, err
	})
	if err != nil {
		return nil, db.explain("read alarms", err)
	}
	return out, nil
}
