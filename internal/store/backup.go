package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Backup copies the database at path to the new file to: whole, consistent and checked, also while the daemon writes.
// The file appears under its name only when it is complete and flushed to the disk.
func Backup(ctx context.Context, path, to string) error {
	return backup(ctx, path, to, len(migrations()))
}

// backup knows schemas up to newest.
func backup(ctx context.Context, path, to string, newest int) error {
	if err := absent(to); err != nil {
		return fmt.Errorf("back up: %w", err)
	}
	if err := present(path); err != nil {
		return fmt.Errorf("back up: %w", err)
	}
	if _, err := os.Stat(filepath.Dir(to)); err != nil {
		return fmt.Errorf("back up: %w (make the folder, or name a file in another)", err)
	}
	part := to + ".part"
	live, err := openReadOnly(path, false) // a daemon may begin to write at any moment
	if err != nil {
		return fmt.Errorf("back up: %w", err)
	}
	if err := copyChecked(ctx, live, path, part, newest); err != nil {
		return fmt.Errorf("back up %q: %w", path, errors.Join(err, removeIfThere(part)))
	}
	if err := os.Rename(part, to); err != nil {
		return fmt.Errorf("back up %q: %w", path, err)
	}
	return syncFolder(to)
}

// Restore puts the backup from in place of the database at path. A database that stands there is kept beside it under the
// name it returns, with its log if it has one. now goes into that name. The daemon must not run.
func Restore(ctx context.Context, from, path string, now time.Time) (kept string, err error) {
	if err := present(from); err != nil {
		return "", fmt.Errorf("restore: %w", err)
	}
	if err := makeFolder(filepath.Dir(path)); err != nil {
		return "", fmt.Errorf("restore: %w", err)
	}
	lock, err := lockFile(path)
	if err != nil {
		return "", fmt.Errorf("restore: %w", err)
	}
	defer func() { err = errors.Join(err, lock.release()) }()
	part := path + ".part"
	still, err := openStill(from)
	if err != nil {
		return "", fmt.Errorf("restore: %w", err)
	}
	if err := copyChecked(ctx, still, from, part, len(migrations())); err != nil {
		return "", fmt.Errorf("restore %q: %w", from, errors.Join(err, removeIfThere(part)))
	}
	if kept, err = setAside(path, path+".replaced."+stamp(now)); err != nil {
		return "", fmt.Errorf("restore: keep the present database: %w", err)
	}
	if err := os.Rename(part, path); err != nil {
		return kept, fmt.Errorf("restore: %w", err)
	}
	return kept, syncFolder(path)
}

// copyChecked copies a database with its log to a new file, looks the copy over and flushes it. It closes db.
func copyChecked(ctx context.Context, db *sql.DB, from, to string, newest int) error {
	err := removeIfThere(to)
	if err == nil {
		err = ownersFile(to)
	}
	if err == nil {
		_, err = db.ExecContext(ctx, "pragma query_only = 0") // VACUUM INTO is refused otherwise; the file itself is open read-only
	}
	if err == nil {
		if _, err = db.ExecContext(ctx, "vacuum into ?", to); full(err) {
			err = fmt.Errorf("write %q: %w: free some space there, or name a file elsewhere", to, err)
		}
	}
	if err := errors.Join(err, db.Close()); err != nil {
		return damage(from, err)
	}
	f, err := inspect(ctx, to, newest, 0)
	if err != nil {
		return err
	}
	if f.fresh {
		return fmt.Errorf("%q: %w: it is empty", from, ErrForeign)
	}
	return syncFile(to)
}

// setAside gives the database a second name and takes its log away from the first, so that at no moment a log stands beside a file that
// it does not belong to. The file itself stays under its first name until it is replaced.
func setAside(path, kept string) (string, error) {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if absent(kept) != nil {
		return "", fmt.Errorf("%q exists already: try again in a second", kept)
	}
	if err := os.Link(path, kept); err != nil { // no links on this file system
		if err := os.Rename(path, kept); err != nil {
			return "", err
		}
	}
	if err := os.Rename(path+"-wal", kept+"-wal"); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	return kept, removeIfThere(path + "-shm")
}

func absent(path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%q exists already: name a new file", path)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

func present(path string) error {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("there is no file %q: check the name, or the --data folder", path)
	}
	if err == nil && info.IsDir() {
		return fmt.Errorf("%q is a folder: name a file", path)
	}
	return err
}

func removeIfThere(path string) error {
	if err := os.Remove(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// syncFolder makes a new name in the file's folder survive a power cut.
func syncFolder(path string) error {
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
