package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"time"

	"github.com/mattn/go-sqlite3"
)

// applicationID marks our files: "STKP".
const applicationID = 0x53544b50

// checkBudget is how long opening searches for damage.
const checkBudget = 5 * time.Second

// found is what stands in a database file.
type found struct {
	fresh   bool // nothing of ours in it yet
	version int
	checked bool // the whole file was looked at
}

// inspect looks at a file without writing to it. A budget of 0 is unlimited.
func inspect(ctx context.Context, path string, newest int, budget time.Duration) (found, error) {
	empty, err := emptyFile(path)
	if err != nil || empty {
		return found{fresh: true, checked: true}, err
	}
	db, err := openStill(path)
	if err != nil {
		return found{}, err
	}
	f, err := look(ctx, db, path, newest, budget)
	return f, errors.Join(err, db.Close())
}

// emptyFile reports a file that is missing or has no content yet, and refuses one that is not SQLite's.
func emptyFile(path string) (bool, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return true, nil
	}
	if err != nil {
		return false, fmt.Errorf("open database: %w", err)
	}
	defer f.Close()
	head := make([]byte, len(magic))
	n, err := io.ReadFull(f, head)
	switch {
	case errors.Is(err, io.EOF):
		return true, nil
	case err != nil && !errors.Is(err, io.ErrUnexpectedEOF):
		return false, fmt.Errorf("read database %q: %w", path, err)
	case !bytes.Equal(head[:n], []byte(magic)):
		return false, fmt.Errorf("database %q does not begin as one: %w: %s", path, ErrDamaged, restoreAdvice)
	}
	return false, nil
}

// magic opens every SQLite file: "Database File Format", section 1.3, sqlite.org.
const magic = "SQLite format 3\x00"

const restoreAdvice = "put a backup back with `stallkeeper restore` (the damaged file is kept aside by it)"

// openStill opens a file that nobody writes, so that not even its log is folded into it. Without a log beside it it may stand
// where nothing can be written.
func openStill(path string) (*sql.DB, error) {
	info, err := os.Stat(path + "-wal")
	return openReadOnly(path, errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() == 0)
}

func openReadOnly(path string, immutable bool) (*sql.DB, error) {
	v := url.Values{"mode": {"ro"}, "_query_only": {"1"}, "_busy_timeout": {"10000"}}
	if immutable {
		v.Set("immutable", "1")
	}
	db, err := sql.Open("sqlite3", fileURI(path, v))
	if err != nil {
		return nil, fmt.Errorf("open database %q: %w", path, err)
	}
	db.SetMaxOpenConns(1)
	return db, nil
}

func look(ctx context.Context, db *sql.DB, path string, newest int, budget time.Duration) (found, error) {
	var f found
	var app, objects int
	for _, q := range []struct {
		sql  string
		into *int
	}{{"pragma application_id", &app}, {"pragma user_version", &f.version}, {"select count(*) from sqlite_schema", &objects}} {
		if err := db.QueryRowContext(ctx, q.sql).Scan(q.into); err != nil {
			return f, damage(path, err)
		}
	}
	switch {
	case app == 0 && f.version == 0 && objects == 0:
		return found{fresh: true, checked: true}, nil
	case app != applicationID:
		return f, fmt.Errorf("database %q: %w: name another file or folder", path, ErrForeign)
	case f.version > newest:
		return f, fmt.Errorf("database %q has schema %d, this program knows %d: %w: install that version again, or restore a backup made before its upgrade (%s.schema-*.backup)",
			path, f.version, newest, ErrNewerSchema, path)
	}
	var err error
	f.checked, err = quickCheck(ctx, db, path, budget)
	return f, err
}

func quickCheck(ctx context.Context, db *sql.DB, path string, budget time.Duration) (whole bool, err error) {
	if budget > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, budget)
		defer cancel()
	}
	var verdict string
	err = db.QueryRowContext(ctx, "pragma quick_check(1)").Scan(&verdict)
	switch {
	case err != nil && errors.Is(ctx.Err(), context.DeadlineExceeded):
		return false, nil
	case err != nil:
		return false, damage(path, err)
	case verdict != "ok":
		return false, fmt.Errorf("database %q: %w (%s): %s", path, ErrDamaged, verdict, restoreAdvice)
	}
	return true, nil
}

// damage tells damage from other reasons why a file cannot be read.
func damage(path string, err error) error {
	var e sqlite3.Error
	errors.As(err, &e)
	switch e.Code {
	case sqlite3.ErrCorrupt, sqlite3.ErrNotADB:
		return fmt.Errorf("database %q: %w (%w): %s", path, ErrDamaged, err, restoreAdvice)
	case sqlite3.ErrCantOpen, sqlite3.ErrReadonly, sqlite3.ErrPerm:
		return fmt.Errorf("read database %q: %w: run this as the user that the daemon runs as", path, err)
	}
	return fmt.Errorf("read database %q: %w", path, err)
}
