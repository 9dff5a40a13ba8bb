package store

import (
	"context"
	"database/sql"
	"time"

	"stallkeeper/internal/cook"
)

// KeepForecasts keeps forecasts in one transaction. A forecast of the same cook, piece and time replaces the earlier one.
func (db *DB) KeepForecasts(ctx context.Context, kept []cook.KeptForecast) error {
	if len(kept) == 0 {
		return nil
	}
	return db.write(ctx, "keep forecasts", func(tx *sql.Tx) error {
		s, err := tx.PrepareContext(ctx, `insert into forecasts (cook, piece, at, json) values (?, ?, ?, ?)
			on conflict (cook, piece, at) do update set json = excluded.json`)
		if err != nil {
			return err
		}
		defer s.Close()
		for _, f := range kept {
			if _, err := s.ExecContext(ctx, int64(f.Cook), string(f.Piece), micros(f.At), string(f.JSON)); err != nil {
				return err
			}
		}
		return s.Close()
	})
}

// Forecasts gives those of one piece as they were made, from inclusive, to exclusive, zero times open, ascending by time.
func (db *DB) Forecasts(ctx context.Context, id cook.ID, piece cook.PieceID, from, to time.Time) ([]cook.KeptForecast, error) {
	lo, hi := span(from, to)
	return db.readForecasts(ctx, `select cook, piece, at, json from forecasts where cook = ? and piece = ? and at >= ? and at < ? order by at`,
		int64(id), string(piece), lo, hi)
}

// LatestForecasts gives the newest of each piece of a cook, by piece.
func (db *DB) LatestForecasts(ctx context.Context, id cook.ID) ([]cook.KeptForecast, error) {
	return db.readForecasts(ctx, `select cook, piece, max(at), json from forecasts where cook = ? group by piece order by piece`, int64(id))
}

func (db *DB) readForecasts(ctx context.Context, query string, args ...any) ([]cook.KeptForecast, error) {
	rows, err := db.reader.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, db.explain("read forecasts", err)
	}
	out, err := collect(rows, func(rows *sql.Rows) (f cook.KeptForecast, err error) {
		var at int64
		err = rows.Scan(&f.Cook, &f.Piece, &at, &f.JSON)
		f.At = instant(at)
		return f, err
	})
	if err != nil {
		return nil, db.explain("read forecasts", err)
	}
	return out, nil
}
