package store

import (
	"context"
	"crypto/ed25519"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"stallkeeper/internal/record"
)

// Checkpoint signs how far both chains reach. When nothing has happened since the newest checkpoint it gives that one again.
func (db *DB) Checkpoint(ctx context.Context, key ed25519.PrivateKey, now time.Time) (record.Checkpoint, error) {
	var out record.Checkpoint
	err := db.write(ctx, "make checkpoint", func(tx *sql.Tx) error {
		c := record.Checkpoint{At: now}
		var err error
		if c.Seq, c.Head, err = journalHead(ctx, tx); err != nil {
			return err
		}
		if c.Seal, c.Seals, err = sealHead(ctx, tx); err != nil {
			return err
		}
		out = c.Sign(key)
		newest, err := readCheckpoints(ctx, tx, `order by id desc limit 1`)
		if err != nil {
			return err
		}
		if len(newest) == 1 && newest[0].Same(out) {
			out = newest[0]
			return nil
		}
		_, err = tx.ExecContext(ctx, `insert into checkpoints (id, at, seq, head, seal, seals, public, signature)
			values ((select coalesce(max(id), 0) + 1 from checkpoints), ?, ?, ?, ?, ?, ?, ?)`,
			micros(out.At), out.Seq, out.Head[:], out.Seal, out.Seals[:], []byte(out.Key), []byte(out.Signature))
		return err
	})
	return out, err
}

// Checkpoints gives the newest checkpoints, at most limit, oldest first.
func (db *DB) Checkpoints(ctx context.Context, limit int) ([]record.Checkpoint, error) {
	var out []record.Checkpoint
	err := db.readTogether(ctx, "read checkpoints", func(tx *sql.Tx) (err error) {
		out, err = readCheckpoints(ctx, tx, `where id > (select coalesce(max(id), 0) from checkpoints) - ? order by id`, limit)
		return err
	})
	return out, err
}

func readCheckpoints(ctx context.Context, tx *sql.Tx, rest string, args ...any) ([]record.Checkpoint, error) {
	rows, err := tx.QueryContext(ctx, `select at, seq, head, seal, seals, public, signature from checkpoints `+rest, args...)
	if err != nil {
		return nil, err
	}
	return collect(rows, func(rows *sql.Rows) (c record.Checkpoint, err error) {
		var at int64
		var head, seals []byte
		err = rows.Scan(&at, &c.Seq, &head, &c.Seal, &seals, (*[]byte)(&c.Key), (*[]byte)(&c.Signature))
		if err == nil && (len(head) != len(c.Head) || len(seals) != len(c.Seals)) {
			err = errors.New("a checkpoint has a hash of the wrong length")
		}
		c.At = instant(at)
		copy(c.Head[:], head)
		copy(c.Seals[:], seals)
		return c, err
	})
}

// Keys gives the keys that the journal names, oldest first.
func (db *DB) Keys(ctx context.Context) ([]record.Key, error) {
	entries, err := db.Entries(ctx, record.Query{Kinds: []record.Kind{record.KindKey}})
	if err != nil {
		return nil, err
	}
	var out []record.Key
	for _, e := range entries {
		body, err := e.Decode()
		if err != nil {
			return nil, fmt.Errorf("read keys: %w", err)
		}
		out = append(out, *body.(*record.Key))
	}
	return out, nil
}
