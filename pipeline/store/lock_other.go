//go:build !unix

package store

import (
	"errors"
	"os"
)

// fileLock is a file that exists while the lock is held: a weaker lock for
// systems without flock. A killed writer leaves it behind; the message that
// refuses the next one says which file to delete.
type fileLock struct{ path string }

var errBusy = errors.New("locked by another process")

func lockFile(path string, exclusive bool) (*fileLock, error) {
	if !exclusive {
		return &fileLock{}, nil
	}
	f, err := os.OpenFile(path+".held", os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if errors.Is(err, os.ErrExist) {
		return nil, errBusy
	}
	if err != nil {
		return nil, err
	}
	return &fileLock{path + ".held"}, f.Close()
}

func (l *fileLock) release() error {
	if l.path == "" {
		return nil
	}
	return os.Remove(l.path)
}
