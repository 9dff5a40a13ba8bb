package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"stallkeeper/internal/cook"
)

// Subscription is a browser that wants to be told by a path. Its endpoint is a secret.
type Subscription struct {
	Endpoint     string
	Path         string
	Public, Auth []byte
	Made         time.Time
	By           string // who was logged in
	Browser      string // what it says it is
}

// mostSubscriptions of a path are kept: each message is sent to all of them.
const mostSubscriptions = 20

// Subscribe keeps a subscription; one with the same endpoint is replaced. Too many of a path are cook.ErrConflict.
func (db *DB) Subscribe(ctx context.Context, s Subscription) error {
	return db.write(ctx, "keep subscription", func(tx *sql.Tx) error {
		var n int
		if err := tx.QueryRowContext(ctx, `select count(*) from subscriptions where path = ? and endpoint <> ?`, s.Path, s.Endpoint).Scan(&n); err != nil {
			return err
		}
		if n >= mostSubscriptions {
			return fmt.Errorf("%d browsers are subscribed to %q already: switch one off: %w", n, s.Path, cook.ErrConflict)
		}
		_, err := tx.ExecContext(ctx, `insert into subscriptions (endpoint, path, public, auth, made, who, browser) values (?, ?, ?, ?, ?, ?, ?)
			on conflict (endpoint) do update set path = excluded.path, public = excluded.public, auth = excluded.auth, made = excluded.made, who = excluded.who, browser = excluded.browser`,
			s.Endpoint, s.Path, s.Public, s.Auth, micros(s.Made), s.By, s.Browser)
		return err
	})
}

// Unsubscribe drops a subscription; one that is not there is no error.
func (db *DB) Unsubscribe(ctx context.Context, endpoint string) error {
	return db.write(ctx, "drop subscription", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `delete from subscriptions where endpoint = ?`, endpoint)
		return err
	})
}

// Subscriptions gives those of a path, oldest first.
func (db *DB) Subscriptions(ctx context.Context, path string) ([]Subscription, error) {
	rows, err := db.reader.QueryContext(ctx, `select endpoint, path, public, auth, made, who, browser from subscriptions where path = ? order by made, endpoint`, path)
	if err != nil {
		return nil, db.explain("read subscriptions", err)
	}
	out, err := collect(rows, func(rows *sql.Rows) (s Subscription, err error) {
		var made int64
		err = rows.Scan(&s.Endpoint, &s.Path, &s.Public, &s.Auth, &made, &s.By, &s.Browser)
		s.Made = instant(made)
		return s, err
	})
	if err != nil {
		return nil, db.explain("read subscriptions", err)
	}
	return out, nil
}
