package store

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
)

// FS is every change that the store makes to a disk, one method an operation,
// so that a test can cut the power between any two of them. Reading goes
// through the os package: it changes nothing.
type FS interface {
	// MkdirAll makes a folder and those above it.
	MkdirAll(dir string) error
	// WriteFile makes or replaces a file without syncing it.
	WriteFile(path string, data []byte) error
	// SyncFile makes the bytes of a file durable.
	SyncFile(path string) error
	// Rename moves a file; durable only after SyncDir of the target's folder.
	Rename(from, to string) error
	// SyncDir makes the names in a folder durable.
	SyncDir(dir string) error
	// Remove deletes a file or a folder with all that is in it.
	Remove(path string) error
}

// Disk is the real file system.
type Disk struct{}

// MkdirAll makes a folder and those above it.
func (Disk) MkdirAll(dir string) error { return os.MkdirAll(dir, 0o755) }

// WriteFile makes or replaces a file without syncing it.
func (Disk) WriteFile(path string, data []byte) error { return os.WriteFile(path, data, 0o644) }

// SyncFile makes the bytes of a file durable.
func (Disk) SyncFile(path string) error { return syncPath(path) }

// Rename moves a file.
func (Disk) Rename(from, to string) error { return os.Rename(from, to) }

// SyncDir makes the names in a folder durable. Windows has no such call and
// needs none for a rename.
func (Disk) SyncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	return syncPath(dir)
}

// Remove deletes a file or a folder with all that is in it.
func (Disk) Remove(path string) error { return os.RemoveAll(path) }

func syncPath(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		_ = f.Close()
		return fmt.Errorf("sync %s: %w", filepath.Base(path), err)
	}
	return f.Close()
}
