package store

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
	"path"
	"time"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

// migration brings the schema from version n to n+1, n being its place in the list.
type migration struct {
	name string
	sql  string
}

// migrations are in the order of their numbers.
func migrations() []migration {
	entries, err := fs.ReadDir(migrationFiles, "migrations") // sorted by name
	if err != nil {
		panic("store: embedded migrations: " + err.Error())
	}
	var out []migration
	for _, e := range entries {
		text, err := migrationFiles.ReadFile(path.Join("migrations", e.Name()))
		if err != nil {
			panic("store: embedded migrations: " + err.Error())
		}
		out = append(out, migration{e.Name(), string(text)})
	}
	return out
}

func (db *DB) migrate(ctx context.Context, from found, steps []migration) error {
	for version := from.version; version < len(steps); version++ {
		if !from.fresh {
			if err := db.backupBefore(ctx, version, len(steps)); err != nil {
				return err
			}
		}
		step := steps[version]
		if err := db.write(ctx, "migrate database with "+step.name, func(tx *sql.Tx) error {
			if _, err := tx.ExecContext(ctx, step.sql); err != nil {
				return err
			}
			_, err := tx.ExecContext(ctx, fmt.Sprintf("pragma application_id = %d; pragma user_version = %d", applicationID, version+1))
			return err
		}); err != nil {
			return err
		}
		if !from.fresh {
			db.opts.Log.Info("database schema is now at", "version", version+1, "path", db.path)
		}
	}
	if from.fresh {
		db.opts.Log.Info("new database", "path", db.path)
	}
	return nil
}

// backupBefore keeps the file as it was with the given schema version.
func (db *DB) backupBefore(ctx context.Context, version, newest int) error {
	to := fmt.Sprintf("%s.schema-%d.%s.backup", db.path, version, stamp(db.opts.Now()))
	if err := backup(ctx, db.path, to, newest); err != nil {
		return fmt.Errorf("before the upgrade of the database: %w", err)
	}
	db.opts.Log.Info("the database as it was before the upgrade is kept", "path", to)
	return nil
}

// stamp is a time as it stands in file names.
func stamp(t time.Time) string { return t.UTC().Format("20060102T150405Z") }
