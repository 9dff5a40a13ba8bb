package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
)

// Outgoing is a message on its way out; its body is not looked at here.
type Outgoing struct {
	ID      string
	Path    string
	Made    time.Time
	Body    []byte    // text
	Tries   int       // so far
	Failing time.Time // the first failed try; zero before that
}

// toldState is where the state of the messages is kept, among the small things.
const toldState = "notify.state"

// outboxKept is how long messages are kept after they were done with, so that none is added again.
const outboxKept = 90 * 24 * time.Hour

// KeepAlarmToTell keeps a state that an alarm took, like KeepAlarm, and together with it what is to be told of it.
func (db *DB) KeepAlarmToTell(ctx context.Context, a alarm.Alarm, telling []byte) error {
	body, err := json.Marshal(a)
	if err != nil {
		return fmt.Errorf("keep alarm %q: %w", string(a.ID), err)
	}
	return db.write(ctx, "keep alarm", func(tx *sql.Tx) error {
		if err := keepAlarm(ctx, tx, a, body); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `insert into to_tell (body) values (?)`, string(telling))
		return err
	})
}

// ToTell gives what KeepAlarmToTell kept and KeepMessages has not taken, oldest first, and the number of the last of them.
func (db *DB) ToTell(ctx context.Context) (tellings [][]byte, through int64, err error) {
	rows, err := db.reader.QueryContext(ctx, `select id, body from to_tell order by id`)
	if err != nil {
		return nil, 0, db.explain("read what is to be told", err)
	}
	tellings, err = collect(rows, func(rows *sql.Rows) (body []byte, err error) {
		err = rows.Scan(&through, &body)
		return body, err
	})
	if err != nil {
		return nil, 0, db.explain("read what is to be told", err)
	}
	return tellings, through, nil
}

// MessageState gives the state that KeepMessages kept last; empty at the beginning.
func (db *DB) MessageState(ctx context.Context) ([]byte, error) {
	state, err := db.Value(ctx, toldState)
	if errors.Is(err, cook.ErrNotFound) {
		return nil, nil
	}
	return state, err
}

// KeepMessages keeps a state and messages and takes what was to be told up to a number, all or nothing. A message whose ID
// is there, waiting or done, is not added again.
func (db *DB) KeepMessages(ctx context.Context, state []byte, through int64, messages []Outgoing) error {
	return db.write(ctx, "keep messages", func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `delete from to_tell where id <= ?`, through); err != nil {
			return err
		}
		for _, m := range messages {
			if _, err := tx.ExecContext(ctx, `insert into outbox (id, made, path, body) values (?, ?, ?, ?) on conflict (id) do nothing`,
				m.ID, micros(m.Made), m.Path, string(m.Body)); err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, `delete from outbox where done < ?`, micros(m.Made.Add(-outboxKept))); err != nil {
				return err
			}
		}
		_, err := tx.ExecContext(ctx, `insert into kept (key, value) values (?, ?) on conflict (key) do update set value = excluded.value`, toldState, append([]byte{}, state...))
		return err
	})
}

// Waiting gives the messages that are not done with, in the order in which they were kept.
func (db *DB) Waiting(ctx context.Context) ([]Outgoing, error) {
	rows, err := db.reader.QueryContext(ctx, `select id, path, made, body, tries, failing from outbox where done is null order by rowid`)
	if err != nil {
		return nil, db.explain("read messages", err)
	}
	out, err := collect(rows, func(rows *sql.Rows) (m Outgoing, err error) {
		var made int64
		var failing sql.NullInt64
		err = rows.Scan(&m.ID, &m.Path, &made, &m.Body, &m.Tries, &failing)
		m.Made = instant(made)
		if failing.Valid {
			m.Failing = instant(failing.Int64)
		}
		return m, err
	})
	if err != nil {
		return nil, db.explain("read messages", err)
	}
	return out, nil
}

// MessageTried notes a try to deliver: its error, empty for none, and whether it was the last.
func (db *DB) MessageTried(ctx context.Context, id string, at time.Time, trouble string, final bool) error {
	return db.write(ctx, "note the delivery of a message", func(tx *sql.Tx) error {
		var done, failing any
		if final {
			done = micros(at)
		}
		if trouble != "" {
			failing = micros(at)
		}
		if _, err := tx.ExecContext(ctx, `update outbox set tries = tries + 1, error = ?, failing = coalesce(failing, ?), done = ? where id = ?`, trouble, failing, done, id); err != nil {
			return err
		}
		column := "delivered = excluded.delivered"
		var delivered any = micros(at)
		if trouble != "" {
			column, delivered = "failed = excluded.failed, error = excluded.error", nil
		}
		_, err := tx.ExecContext(ctx, `insert into paths (name, delivered, failed, error) select path, ?, ?, ? from outbox where id = ?
			on conflict (name) do update set `+column, delivered, failing, trouble, id)
		return err
	})
}

// PathHealth is how deliveries by a path went the last times; zero times where there was none.
type PathHealth struct {
	Delivered, Failed time.Time
	Error             string // of the last failed try
}

// PathsHealth gives it for every path that was ever tried.
func (db *DB) PathsHealth(ctx context.Context) (map[string]PathHealth, error) {
	rows, err := db.reader.QueryContext(ctx, `select name, delivered, failed, error from paths`)
	if err != nil {
		return nil, db.explain("read the state of the paths", err)
	}
	out := map[string]PathHealth{}
	_, err = collect(rows, func(rows *sql.Rows) (none struct{}, err error) {
		var name string
		var h PathHealth
		var delivered, failed sql.NullInt64
		err = rows.Scan(&name, &delivered, &failed, &h.Error)
		if delivered.Valid {
			h.Delivered = instant(delivered.Int64)
		}
		if failed.Valid {
			h.Failed = instant(failed.Int64)
		}
		out[name] = h
		return none, err
	})
	if err != nil {
		return nil, db.explain("read the state of the paths", err)
	}
	return out, nil
}
