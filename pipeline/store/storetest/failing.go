package storetest

import (
	"io/fs"

	"hindcheck/pipeline/store"
)

// Failing carries out operations on the real disk until one fails, as a full
// disk or a folder that may not be written makes it. It is not safe for
// concurrent use.
type Failing struct {
	// At is the number of the operation that fails, from 1; 0 for none.
	At int
	// Err is what it fails with, such as syscall.ENOSPC.
	Err error
	// Stays makes every later operation that needs space or the right to write
	// fail as well. Removing always goes on then: it needs no space.
	Stays bool
	// Ops counts operations asked for; Failed names the one that failed first.
	Ops    int
	Failed string

	disk store.Disk
}

func (f *Failing) step(op, path string) error {
	f.Ops++
	if f.Ops != f.At && (!f.Stays || f.At == 0 || f.Ops < f.At || op == "remove") {
		return nil
	}
	if f.Failed == "" {
		f.Failed = op
	}
	return &fs.PathError{Op: op, Path: path, Err: f.Err}
}

// MkdirAll makes a folder and those above it.
func (f *Failing) MkdirAll(dir string) error {
	if err := f.step("mkdir", dir); err != nil {
		return err
	}
	return f.disk.MkdirAll(dir)
}

// WriteFile writes a file; where it fails, half of the bytes are there.
func (f *Failing) WriteFile(path string, data []byte) error {
	if err := f.step("write", path); err != nil {
		_ = f.disk.WriteFile(path, data[:len(data)/2])
		return err
	}
	return f.disk.WriteFile(path, data)
}

// SyncFile makes the bytes of a file durable.
func (f *Failing) SyncFile(path string) error {
	if err := f.step("sync", path); err != nil {
		return err
	}
	return f.disk.SyncFile(path)
}

// Rename moves a file.
func (f *Failing) Rename(from, to string) error {
	if err := f.step("rename", to); err != nil {
		return err
	}
	return f.disk.Rename(from, to)
}

// SyncDir makes the names in a folder durable.
func (f *Failing) SyncDir(dir string) error {
	if err := f.step("sync folder", dir); err != nil {
		return err
	}
	return f.disk.SyncDir(dir)
}

// Remove deletes a file or a folder with all that is in it.
func (f *Failing) Remove(path string) error {
	if err := f.step("remove", path); err != nil {
		return err
	}
	return f.disk.Remove(path)
}
