package store

import (
	"errors"
	"fmt"
	"os"
	"syscall"
)

// fileLock keeps a second process from writing the same database. The kernel drops it when the process ends, however.
type fileLock struct{ file *os.File }

func lockFile(path string) (*fileLock, error) {
	f, err := os.OpenFile(path+".lock", os.O_RDWR|os.O_CREATE, ownerOnly)
	if err != nil {
		return nil, fmt.Errorf("lock database: %w: let the daemon's user write in this folder", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		if errors.Is(err, syscall.EWOULDBLOCK) {
			err = fmt.Errorf("%w: stop it first, or use another data folder (%q)", ErrInUse, path)
		} else {
			err = fmt.Errorf("lock database %q: %w", path, err)
		}
		return nil, errors.Join(err, f.Close())
	}
	return &fileLock{f}, nil
}

func (l *fileLock) release() error { return l.file.Close() }
