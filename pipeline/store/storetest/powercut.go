// Package storetest has a file system double that forgets what was not synced,
// so that tests can cut the power between any two operations of a load and
// look at what a restarted machine would find.
package storetest

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"hindcheck/pipeline/store"
)

// ErrPowerCut is returned by every operation after the cut.
var ErrPowerCut = errors.New("power cut")

// PowerCut carries out operations on a real folder and keeps beside it what
// would survive a cut: the bytes of a file as of its last SyncFile, the names
// in a folder as of its last SyncDir. Everything that is there when it is made
// counts as durable. It is not safe for concurrent use.
type PowerCut struct {
	root string
	disk store.Disk
	// left is how many operations are still carried out; negative: no cut.
	left int
	// Ops counts operations carried out.
	Ops int

	next  int
	live  map[string]int            // path -> file number, as it is now
	bytes map[int][]byte            // file number -> synced bytes
	names map[string]map[string]int // folder -> synced names; -1 is a folder
}

// NewPowerCut watches root, which must exist; after cut operations the power
// goes. A negative cut never comes.
func NewPowerCut(root string, cut int) (*PowerCut, error) {
	p := &PowerCut{root: root, left: cut, live: map[string]int{}, bytes: map[int][]byte{}, names: map[string]map[string]int{}}
	err := filepath.WalkDir(root, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			return p.syncNames(path)
		}
		return p.syncBytes(path)
	})
	if err != nil {
		return nil, err
	}
	// Names were read before the files under them had numbers.
	return p, filepath.WalkDir(root, func(path string, d os.DirEntry, err error) error {
		if err == nil && d.IsDir() {
			return p.syncNames(path)
		}
		return err
	})
}

func (p *PowerCut) step() error {
	if p.left == 0 {
		return ErrPowerCut
	}
	p.left--
	p.Ops++
	return nil
}

func (p *PowerCut) number(path string) int {
	n, ok := p.live[path]
	if !ok {
		p.next++
		n = p.next
		p.live[path] = n
	}
	return n
}

func (p *PowerCut) syncBytes(path string) error {
	data, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	p.bytes[p.number(path)] = data
	return nil
}

func (p *PowerCut) syncNames(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	names := map[string]int{}
	for _, e := range entries {
		if e.IsDir() {
			names[e.Name()] = -1
		} else {
			names[e.Name()] = p.number(filepath.Join(dir, e.Name()))
		}
	}
	p.names[dir] = names
	return nil
}

// MkdirAll makes folders; their names are lost until the folder above is synced.
func (p *PowerCut) MkdirAll(dir string) error {
	if err := p.step(); err != nil {
		return err
	}
	return p.disk.MkdirAll(dir)
}

// WriteFile writes bytes that are lost until SyncFile.
func (p *PowerCut) WriteFile(path string, data []byte) error {
	if err := p.step(); err != nil {
		return err
	}
	p.next++
	p.live[path] = p.next
	return p.disk.WriteFile(path, data)
}

// SyncFile makes bytes survive; the name needs SyncDir.
func (p *PowerCut) SyncFile(path string) error {
	if err := p.step(); err != nil {
		return err
	}
	return p.syncBytes(path)
}

// Rename moves a name; the old one comes back unless the folder is synced.
func (p *PowerCut) Rename(from, to string) error {
	if err := p.step(); err != nil {
		return err
	}
	if err := p.disk.Rename(from, to); err != nil {
		return err
	}
	p.live[to] = p.number(from)
	delete(p.live, from)
	return nil
}

// SyncDir makes the names in a folder survive.
func (p *PowerCut) SyncDir(dir string) error {
	if err := p.step(); err != nil {
		return err
	}
	return p.syncNames(dir)
}

// Remove deletes; the names come back unless the folder is synced.
func (p *PowerCut) Remove(path string) error {
	if err := p.step(); err != nil {
		return err
	}
	for known := range p.live {
		if known == path || strings.HasPrefix(known, path+string(filepath.Separator)) {
			delete(p.live, known)
		}
	}
	return p.disk.Remove(path)
}

// Survivors writes to dst, an empty folder, what a restarted machine may find.
//
// With pessimist, only synced names are there; else every name as it was at
// the cut, which a file system may have written by itself. In both, a file
// whose bytes were never synced is empty.
func (p *PowerCut) Survivors(dst string, pessimist bool) error {
	if pessimist {
		return p.restoreSynced(p.root, dst)
	}
	return filepath.WalkDir(p.root, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(p.root, path)
		if err != nil {
			return err
		}
		to := filepath.Join(dst, rel)
		if d.IsDir() {
			return os.MkdirAll(to, 0o755)
		}
		return os.WriteFile(to, p.bytes[p.live[path]], 0o644)
	})
}

func (p *PowerCut) restoreSynced(from, to string) error {
	if err := os.MkdirAll(to, 0o755); err != nil {
		return err
	}
	for name, n := range p.names[from] {
		var err error
		if n < 0 {
			err = p.restoreSynced(filepath.Join(from, name), filepath.Join(to, name))
		} else {
			err = os.WriteFile(filepath.Join(to, name), p.bytes[n], 0o644)
		}
		if err != nil {
			return fmt.Errorf("restore %s: %w", name, err)
		}
	}
	return nil
}
