package store

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"syscall"
)

// reserve is a file that keeps some room back. On a full disk it is given up, so that the alarm which says that the disk is full, and others,
// can still be kept and told; readings use the room too, for an hour or so. It is taken again when there is plenty of room.
type reserve struct {
	path string

	mu   sync.Mutex // guards gone
	gone bool       // it was given up and not taken again
}

// Choices of this project: eight probes at a reading a second need some 2.5 MB an hour.
const (
	reserveBytes  = 4 << 20
	reservePlenty = 8 * reserveBytes // free room from which on it is taken
	reserveScarce = 1 << 20          // and below which it is given up
)

func newReserve(database string) *reserve {
	return &reserve{path: filepath.Join(filepath.Dir(database), "reserve")}
}

// take keeps the room back, unless it is kept already or there is too little, and reports whether it is kept.
func (v *reserve) take() (bool, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if stands, err := os.Stat(v.path); err == nil && stands.Size() == reserveBytes {
		v.gone = false
		return true, nil
	}
	if room, err := freeRoom(filepath.Dir(v.path)); err != nil || room < reservePlenty {
		return false, err
	}
	filler := make([]byte, reserveBytes)
	_, _ = rand.Read(filler) // never fails; zeros might take no room
	if err := os.WriteFile(v.path, filler, ownerOnly); err != nil {
		return false, errors.Join(fmt.Errorf("keep some room of the disk back: %w: let the daemon's user write in this folder", err), v.remove())
	}
	v.gone = false
	return true, nil
}

// give gives the room up, if that helps, and reports whether it did.
func (v *reserve) give() (bool, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if _, err := os.Stat(v.path); err != nil {
		return false, nil // there is none
	}
	if room, err := freeRoom(filepath.Dir(v.path)); err != nil || room > reserveScarce {
		return false, err
	}
	if err := v.remove(); err != nil {
		return false, err
	}
	v.gone = true
	return true, nil
}

func (v *reserve) remove() error {
	if err := os.Remove(v.path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("give up the room that was kept back: %w", err)
	}
	return nil
}

func (v *reserve) given() bool {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.gone
}

// trouble says that the reserve is in use; empty when it is not.
func (v *reserve) trouble() string {
	if !v.given() {
		return ""
	}
	return fmt.Sprintf("the disk is full: the last %d MiB, kept back so that alarms can be told, are in use: free some space in %q", reserveBytes>>20, filepath.Dir(v.path))
}

// freeRoom is what the user may still write in a folder, in bytes.
func freeRoom(dir string) (int64, error) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return 0, fmt.Errorf("look how full the disk is under %q: %w", dir, err)
	}
	return int64(s.Bavail) * int64(s.Bsize), nil
}
