package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

const (
	readLockName  = ".readers.lock"
	writeLockName = ".writer.lock"
	definitionDir = "definitions"
	stagingDir    = "staging"
)

// Snapshot is one state of a store, held while it is read. Files that it
// lists stay until Close.
type Snapshot struct {
	Dir      string
	Manifest *Manifest
	lock     *fileLock
}

// Open takes a shared lock on the store in dir and reads its manifest once.
// It returns ErrNoStore (wrapped) if there is none, and a *FormatError if
// another version wrote it. The caller closes the snapshot.
func Open(dir string) (*Snapshot, error) {
	if _, err := os.Stat(filepath.Join(dir, manifestName)); err != nil {
		if _, merr := readManifest(dir); merr != nil {
			return nil, merr
		}
	}
	lock, err := retryLock(filepath.Join(dir, readLockName), false)
	if err != nil {
		return nil, fmt.Errorf("open store %s: %w", dir, err)
	}
	m, err := readManifest(dir)
	if err != nil {
		return nil, errors.Join(err, lock.release())
	}
	return &Snapshot{Dir: dir, Manifest: m, lock: lock}, nil
}

// retryLock waits out the instant in which a writer deletes old files.
func retryLock(path string, exclusive bool) (*fileLock, error) {
	for try := 0; ; try++ {
		lock, err := lockFile(path, exclusive)
		if err == nil || !errors.Is(err, errBusy) || try == 200 {
			return lock, err
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// Close gives the snapshot back.
func (s *Snapshot) Close() error {
	if s.lock == nil {
		return nil
	}
	err := s.lock.release()
	s.lock = nil
	return err
}

// Paths are the absolute paths of the files of a part and table.
func (s *Snapshot) Paths(part, table string) []string {
	var out []string
	for _, f := range s.Manifest.Select(part, table) {
		out = append(out, filepath.Join(s.Dir, filepath.FromSlash(f.Path)))
	}
	return out
}

// Definition reads a stored definition by its hash.
func (s *Snapshot) Definition(hash string) ([]byte, error) {
	return readDefinition(s.Dir, hash)
}

func readDefinition(dir, hash string) ([]byte, error) {
	data, err := os.ReadFile(filepath.Join(dir, definitionDir, hash+".yaml"))
	if err != nil {
		return nil, fmt.Errorf("read stored definition: %w", err)
	}
	if got := hashBytes(data); got != hash {
		return nil, fmt.Errorf("%s/%s.yaml: expected content with that hash, found %s; restore it from a backup of the store", definitionDir, hash, got)
	}
	return data, nil
}
