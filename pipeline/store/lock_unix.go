//go:build unix

package store

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// fileLock is an advisory lock on an open file. The kernel drops it when the
// process ends, so a killed load leaves no stale lock.
// f is nil where no lock is needed.
type fileLock struct{ f *os.File }

// errBusy says that another process holds the lock.
var errBusy = errors.New("locked by another process")

// lockFile takes the lock at path without waiting; errBusy if it is held.
func lockFile(path string, exclusive bool) (*fileLock, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		// A reader of a store on a read-only medium can still lock, and where even
		// the file of the lock is missing nobody can change the store.
		made := err
		f, err = os.Open(path)
		if !exclusive && errors.Is(err, os.ErrNotExist) && (errors.Is(made, os.ErrPermission) || errors.Is(made, unix.EROFS)) {
			return &fileLock{}, nil
		}
		if err != nil {
			return nil, fmt.Errorf("open lock: %w", err)
		}
	}
	how := unix.LOCK_SH
	if exclusive {
		how = unix.LOCK_EX
	}
	if err := unix.Flock(int(f.Fd()), how|unix.LOCK_NB); err != nil {
		_ = f.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, errBusy
		}
		return nil, fmt.Errorf("lock %s: %w", path, err)
	}
	return &fileLock{f}, nil
}

func (l *fileLock) release() error {
	if l.f == nil {
		return nil
	}
	return l.f.Close()
}
