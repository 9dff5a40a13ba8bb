package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// ownerOnly is the mode of a database, a copy of one, and its lock: passwords' hashes and who was where when are nobody else's.
const ownerOnly = 0o600

// closeToOthers makes a database that is missing as a file that only its owner may use; SQLite gives the files beside it the same mode.
// From one that is there it takes the rights of all others away. What a group was given stays given.
func closeToOthers(path string) error {
	if err := ownersFile(path); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("make database: %w: let the daemon's user write in this folder", err)
	}
	for _, name := range []string{path, path + "-wal", path + "-shm"} {
		info, err := os.Stat(name)
		if errors.Is(err, fs.ErrNotExist) || err == nil && info.Mode().Perm()&0o007 == 0 {
			continue
		}
		if err == nil {
			err = os.Chmod(name, info.Mode().Perm()&^0o007)
		}
		if err != nil {
			return fmt.Errorf("keep others from reading the database: %w: chmod o= the file, or let the daemon's user own it", err)
		}
	}
	return nil
}

// ownersFile makes an empty file that only its owner may use.
func ownersFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, ownerOnly)
	if err != nil {
		return err
	}
	return f.Close()
}
