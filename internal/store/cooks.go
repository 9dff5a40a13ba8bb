package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"stallkeeper/internal/cook"
)

// CreateCook keeps a new cook; now is when it was told. Its events become entries.
func (db *DB) CreateCook(ctx context.Context, c cook.Cook, now time.Time) (cook.ID, error) {
	if err := c.Validate(); err != nil {
		return 0, fmt.Errorf("start cook: %w", err)
	}
	events := c.Events
	c.Events = nil
	body, err := json.Marshal(c)
	if err != nil {
		return 0, fmt.Errorf("start cook: %w", err)
	}
	var id int64
	err = db.write(ctx, "start cook", func(tx *sql.Tx) error {
		result, err := tx.ExecContext(ctx, `insert into cooks (created, started, body) values (?, ?, ?)`, micros(now), micros(c.Started), string(body))
		if err != nil {
			return err
		}
		if id, err = result.LastInsertId(); err != nil {
			return err
		}
		for _, e := range events {
			if _, err := insertEntry(ctx, tx, cook.ID(id), cook.Entry{Event: e, Logged: now}); err != nil {
				return err
			}
		}
		return nil
	})
	return cook.ID(id), err
}

// AppendEntry keeps an event in a cook's log, also after the cook's end, and gives it back with its number. An entry that corrects one
// of another cook gets cook.ErrNotFound, one that corrects an entry corrected before cook.ErrConflict.
func (db *DB) AppendEntry(ctx context.Context, id cook.ID, e cook.Entry) (cook.Entry, error) {
	err := db.write(ctx, "log event", func(tx *sql.Tx) error {
		stored, err := readCook(ctx, tx, id)
		if err != nil {
			return err
		}
		if err := checkCorrection(stored.Entries, &e); err != nil {
			return err
		}
		if err := stored.CheckEvent(e.Event); err != nil {
			return fmt.Errorf("log event: %w", err)
		}
		e, err = insertEntry(ctx, tx, id, e)
		return err
	})
	return e, err
}

// checkCorrection finds the corrected entry; a withdrawal without an event of its own takes over that one's.
func checkCorrection(entries []cook.Entry, e *cook.Entry) error {
	if e.Corrects == 0 {
		if e.Withdraw {
			return fmt.Errorf("%w: a withdrawal names the entry that never happened", cook.ErrConflict)
		}
		return nil
	}
	var corrected *cook.Entry
	for i := range entries {
		if entries[i].Corrects == e.Corrects {
			return fmt.Errorf("entry %d: %w: it was corrected by entry %d already: correct that one", e.Corrects, cook.ErrConflict, entries[i].ID)
		}
		if entries[i].ID == e.Corrects {
			corrected = &entries[i]
		}
	}
	if corrected == nil {
		return fmt.Errorf("entry %d: %w", e.Corrects, cook.ErrNotFound)
	}
	if e.Withdraw && e.Kind == "" {
		e.Event = corrected.Event
	}
	return nil
}

func insertEntry(ctx context.Context, tx *sql.Tx, id cook.ID, e cook.Entry) (cook.Entry, error) {
	e.Time, e.Logged = cook.Instant(e.Time), cook.Instant(e.Logged)
	var celsius, corrects any
	if e.Kind == cook.EventSetPoint {
		celsius = float64(e.Celsius)
	}
	if e.Corrects != 0 {
		corrects = e.Corrects
	}
	result, err := tx.ExecContext(ctx, `insert into entries (cook, time, kind, piece, material, celsius, logged, corrects, withdraw, who, note)
		values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, int64(id), micros(e.Time), string(e.Kind), string(e.Piece), e.With, celsius,
		micros(e.Logged), corrects, e.Withdraw, e.By, e.Note)
	if err != nil {
		return e, err
	}
	e.ID, err = result.LastInsertId()
	return e, err
}

// AppendAmendment changes what a running cook aims at. It is checked against the cook as it stands; cook.ErrConflict if it has ended.
func (db *DB) AppendAmendment(ctx context.Context, id cook.ID, a cook.Amendment) error {
	return db.write(ctx, "change cook", func(tx *sql.Tx) error {
		stored, err := readCook(ctx, tx, id)
		if err != nil {
			return err
		}
		if !stored.Running() {
			return fmt.Errorf("change cook %d: %w: it has ended", id, cook.ErrConflict)
		}
		if _, err := a.Make(stored.Cook); err != nil {
			return fmt.Errorf("change cook %d: %w", id, err)
		}
		body, err := json.Marshal(a)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `insert into amendments (cook, time, body) values (?, ?, ?)`, int64(id), micros(a.Time), string(body))
		return err
	})
}

// EndCook marks a cook as ended; cook.ErrConflict if it was already.
func (db *DB) EndCook(ctx context.Context, id cook.ID, at time.Time) error {
	return db.write(ctx, "end cook", func(tx *sql.Tx) error {
		stored, err := readCook(ctx, tx, id)
		if err != nil {
			return err
		}
		if !stored.Running() {
			return fmt.Errorf("end cook %d: %w: it has ended already", id, cook.ErrConflict)
		}
		_, err = tx.ExecContext(ctx, `update cooks set ended = ? where id = ?`, micros(at), int64(id))
		return err
	})
}

// Cook gives a cook as it stands, with its whole log; cook.ErrNotFound if there is none.
func (db *DB) Cook(ctx context.Context, id cook.ID) (*cook.Stored, error) {
	var out *cook.Stored
	err := db.readTogether(ctx, "read cook", func(tx *sql.Tx) (err error) {
		out, err = readCook(ctx, tx, id)
		return err
	})
	return out, err
}

// Cooks gives cooks, newest first, from before the numbered one; 0 begins at the newest.
func (db *DB) Cooks(ctx context.Context, beforeID cook.ID, limit int) ([]cook.Stored, error) {
	return db.readCooks(ctx, `select id from cooks where id < ? order by id desc limit ?`, before(int64(beforeID)), limit)
}

// RunningCooks gives the cooks that have not ended, oldest first.
func (db *DB) RunningCooks(ctx context.Context) ([]cook.Stored, error) {
	return db.readCooks(ctx, `select id from cooks where ended is null order by id`)
}

func (db *DB) readCooks(ctx context.Context, which string, args ...any) ([]cook.Stored, error) {
	var out []cook.Stored
	err := db.readTogether(ctx, "read cooks", func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, which, args...)
		if err != nil {
			return err
		}
		ids, err := collect(rows, func(rows *sql.Rows) (id cook.ID, err error) {
			err = rows.Scan(&id)
			return id, err
		})
		if err != nil {
			return err
		}
		for _, id := range ids {
			stored, err := readCook(ctx, tx, id)
			if err != nil {
				return err
			}
			out = append(out, *stored)
		}
		return nil
	})
	return out, err
}

// readTogether runs several queries on one state of the database.
func (db *DB) readTogether(ctx context.Context, doing string, f func(tx *sql.Tx) error) error {
	tx, err := db.reader.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return db.explain(doing, err)
	}
	if err := errors.Join(f(tx), tx.Rollback()); err != nil {
		return db.explain(doing, err)
	}
	return nil
}

func readCook(ctx context.Context, tx *sql.Tx, id cook.ID) (*cook.Stored, error) {
	out := &cook.Stored{ID: id}
	var body []byte
	var ended sql.NullInt64
	err := tx.QueryRowContext(ctx, `select body, ended from cooks where id = ?`, int64(id)).Scan(&body, &ended)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, fmt.Errorf("cook %d: %w", id, cook.ErrNotFound)
	}
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(body, &out.Cook); err != nil {
		return nil, fmt.Errorf("cook %d: %w", id, err)
	}
	if ended.Valid {
		out.Ended = instant(ended.Int64)
	}
	if out.Entries, err = readEntries(ctx, tx, id); err != nil {
		return nil, err
	}
	if out.Amendments, err = readAmendments(ctx, tx, id); err != nil {
		return nil, err
	}
	for _, a := range out.Amendments {
		if out.Cook, err = a.Apply(out.Cook); err != nil {
			return nil, fmt.Errorf("cook %d: change of %s: %w", id, a.Time.Format(time.RFC3339), err)
		}
	}
	out.Events = cook.Effective(out.Entries)
	return out, nil
}

func readEntries(ctx context.Context, tx *sql.Tx, id cook.ID) ([]cook.Entry, error) {
	rows, err := tx.QueryContext(ctx, `select id, time, kind, piece, material, coalesce(celsius, 0), logged, coalesce(corrects, 0), withdraw, who, note
		from entries where cook = ? order by id`, int64(id))
	if err != nil {
		return nil, err
	}
	return collect(rows, func(rows *sql.Rows) (e cook.Entry, err error) {
		var at, logged int64
		err = rows.Scan(&e.ID, &at, &e.Kind, &e.Piece, &e.With, &e.Celsius, &logged, &e.Corrects, &e.Withdraw, &e.By, &e.Note)
		e.Time, e.Logged = instant(at), instant(logged)
		return e, err
	})
}

func readAmendments(ctx context.Context, tx *sql.Tx, id cook.ID) ([]cook.Amendment, error) {
	rows, err := tx.QueryContext(ctx, `select body from amendments where cook = ? order by id`, int64(id))
	if err != nil {
		return nil, err
	}
	return collect(rows, func(rows *sql.Rows) (a cook.Amendment, err error) {
		var body []byte
		if err := rows.Scan(&body); err != nil {
			return a, err
		}
		err = json.Unmarshal(body, &a)
		return a, err
	})
}
