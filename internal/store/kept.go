package store

import (
	"context"
	"database/sql"
	"errors"

	"stallkeeper/internal/cook"
)

// KeepValue remembers a small value under a name.
func (db *DB) KeepValue(ctx context.Context, key string, value []byte) error {
	return db.write(ctx, "keep "+key, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `insert into kept (key, value) values (?, ?) on conflict (key) do update set value = excluded.value`,
			key, append([]byte{}, value...))
		return err
	})
}

// Value gives what was kept under a name; cook.ErrNotFound if nothing was.
func (db *DB) Value(ctx context.Context, key string) ([]byte, error) {
	var value []byte
	err := db.reader.QueryRowContext(ctx, `select value from kept where key = ?`, key).Scan(&value)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, cook.ErrNotFound
	}
	if err != nil {
		return nil, db.explain("read "+key, err)
	}
	return value, nil
}
