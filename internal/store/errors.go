package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"

	"github.com/mattn/go-sqlite3"
)

// Reasons for which a database is not opened. The file is left as it is.
var (
	ErrNewerSchema = errors.New("the database was written by a newer version of stallkeeper")
	ErrDamaged     = errors.New("the database file is damaged")
	ErrForeign     = errors.New("the file is not a database of stallkeeper")
	ErrInUse       = errors.New("the database is in use by another stallkeeper")
)

// ErrStopped is given to what was put after Run ended, or was still waiting at Close. Nothing of it was kept.
var ErrStopped = errors.New("the store has been stopped: send it again after the restart")

// rowsOwn reports whether the error comes from the row itself, so that the transaction goes on without it.
func rowsOwn(err error) bool {
	var e sqlite3.Error
	if !errors.As(err, &e) {
		return false
	}
	switch e.Code {
	case sqlite3.ErrConstraint, sqlite3.ErrMismatch, sqlite3.ErrTooBig, sqlite3.ErrRange:
		return true
	}
	return false
}

// hopeless reports whether the error is about the disk, the file or the machine, and not about the row that met it.
func hopeless(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) && !rowsOwn(err)
}

// full reports whether there is no room for more.
func full(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) && (e.Code == sqlite3.ErrFull || e.Code == sqlite3.ErrIoErr)
}

// explain says what was being done and, where a person can do something about it, what.
func (db *DB) explain(doing string, err error) error {
	var e sqlite3.Error
	if !errors.As(err, &e) {
		if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) || errors.Is(err, sql.ErrConnDone) {
			return fmt.Errorf("%s: %w", doing, err)
		}
		return err
	}
	dir := filepath.Dir(db.path)
	switch e.Code {
	case sqlite3.ErrFull:
		return fmt.Errorf("%s: %w: free some space in %q; what was acknowledged is kept, the rest comes again", doing, err, dir)
	case sqlite3.ErrIoErr:
		return fmt.Errorf("%s: %w: check the disk under %q, its free space and its cabling; what was acknowledged is kept", doing, err, dir)
	case sqlite3.ErrCorrupt, sqlite3.ErrNotADB:
		return fmt.Errorf("%s: %w: %w: stop the daemon and put a backup back with `stallkeeper restore`", doing, ErrDamaged, err)
	case sqlite3.ErrReadonly, sqlite3.ErrCantOpen, sqlite3.ErrPerm:
		return fmt.Errorf("%s: %w: let the daemon's user write in %q", doing, err, dir)
	case sqlite3.ErrBusy, sqlite3.ErrLocked:
		return fmt.Errorf("%s: %w: another program holds %q locked: close it", doing, err, db.path)
	}
	return fmt.Errorf("%s: %w", doing, err)
}
