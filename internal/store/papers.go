package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"stallkeeper/internal/cook"
)

// KeepPlan keeps a plan and gives its number.
func (db *DB) KeepPlan(ctx context.Context, p cook.KeptPlan) (id int64, err error) {
	err = db.write(ctx, "keep plan", func(tx *sql.Tx) error {
		result, err := tx.ExecContext(ctx, `insert into plans (made, who, name, serve, lot, cook, wish, plan) values (?, ?, ?, ?, ?, ?, ?, ?)`,
			micros(p.Made), p.By, p.Name, micros(p.Serve), string(p.Lot), int64(p.Cook), string(p.Order), string(p.Plan))
		if err != nil {
			return err
		}
		id, err = result.LastInsertId()
		return err
	})
	return id, err
}

const planColumns = `id, made, who, name, serve, lot, cook, wish, plan`

// Plans gives kept plans, newest first.
func (db *DB) Plans(ctx context.Context, q cook.PlanQuery) ([]cook.KeptPlan, error) {
	limit := q.Limit
	if limit == 0 {
		limit = -1
	}
	rows, err := db.reader.QueryContext(ctx, `select `+planColumns+` from plans where id < ?1 and (?2 = '' or lot = ?2) and (?3 = 0 or cook = ?3) order by id desc limit ?4`,
		before(q.Before), string(q.Lot), int64(q.Cook), limit)
	if err != nil {
		return nil, db.explain("read plans", err)
	}
	out, err := collect(rows, scanPlan)
	if err != nil {
		return nil, db.explain("read plans", err)
	}
	return out, nil
}

// Plan gives the numbered plan; cook.ErrNotFound if there is none.
func (db *DB) Plan(ctx context.Context, id int64) (cook.KeptPlan, error) {
	rows, err := db.reader.QueryContext(ctx, `select `+planColumns+` from plans where id = ?`, id)
	if err != nil {
		return cook.KeptPlan{}, db.explain("read plan", err)
	}
	out, err := collect(rows, scanPlan)
	if err != nil {
		return cook.KeptPlan{}, db.explain("read plan", err)
	}
	if len(out) == 0 {
		return cook.KeptPlan{}, fmt.Errorf("plan %d: %w", id, cook.ErrNotFound)
	}
	return out[0], nil
}

func scanPlan(rows *sql.Rows) (p cook.KeptPlan, err error) {
	var made, serve int64
	var wish, plan string
	err = rows.Scan(&p.ID, &made, &p.By, &p.Name, &serve, &p.Lot, &p.Cook, &wish, &plan)
	p.Made, p.Serve, p.Order, p.Plan = instant(made), instant(serve), []byte(wish), []byte(plan)
	return p, err
}

// KeepFormulation keeps a formulation as the newest of its name.
func (db *DB) KeepFormulation(ctx context.Context, f cook.KeptFormulation) error {
	if err := cook.CheckName(f.Name); err != nil {
		return err
	}
	return db.write(ctx, "keep formulation", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `insert into formulations (made, who, name, sheet) values (?, ?, ?, ?)`, micros(f.Made), f.By, f.Name, string(f.Sheet))
		return err
	})
}

// DropFormulation takes a formulation out of the list; lots keep what they were made with. cook.ErrNotFound if there is none.
func (db *DB) DropFormulation(ctx context.Context, f cook.KeptFormulation) error {
	if _, err := db.Formulation(ctx, f.Name); err != nil {
		return err
	}
	return db.write(ctx, "drop formulation", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `insert into formulations (made, who, name, sheet) values (?, ?, ?, null)`, micros(f.Made), f.By, f.Name)
		return err
	})
}

// newest picks the newest row of each name that was not dropped.
const newest = `from formulations f where sheet is not null and id = (select max(id) from formulations where name = f.name)`

// Formulations gives the newest version of each, by name.
func (db *DB) Formulations(ctx context.Context) ([]cook.KeptFormulation, error) {
	rows, err := db.reader.QueryContext(ctx, `select name, made, who, sheet `+newest+` order by name collate nocase, name`)
	if err != nil {
		return nil, db.explain("read formulations", err)
	}
	out, err := collect(rows, func(rows *sql.Rows) (f cook.KeptFormulation, err error) {
		err = scanFormulation(rows, &f)
		return f, err
	})
	if err != nil {
		return nil, db.explain("read formulations", err)
	}
	return out, nil
}

// Formulation gives the newest version of the name; cook.ErrNotFound if there is none.
func (db *DB) Formulation(ctx context.Context, name string) (f cook.KeptFormulation, err error) {
	row := db.reader.QueryRowContext(ctx, `select name, made, who, sheet `+newest+` and name = ?`, name)
	switch err = scanFormulation(row, &f); {
	case errors.Is(err, sql.ErrNoRows):
		return f, fmt.Errorf("formulation %q: %w", name, cook.ErrNotFound)
	case err != nil:
		return f, db.explain("read formulation", err)
	}
	return f, nil
}

func scanFormulation(from interface{ Scan(...any) error }, f *cook.KeptFormulation) error {
	var made int64
	var sheet string
	err := from.Scan(&f.Name, &made, &f.By, &sheet)
	f.Made, f.Sheet = instant(made), []byte(sheet)
	return err
}
