package store

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"sort"
	"strings"
	"sync/atomic"
)

// ErrBusy is returned where another load holds the store.
var ErrBusy = errors.New("another load is at work on this store; wait for it to end and try again")

// ErrApplied is wrapped by errors after the moment of the load: the change is in
// the store, and what failed came behind it.
var ErrApplied = errors.New("the load is in the store and need not be repeated, but the disk failed right behind it; see to the disk, then check the store with: ingest verify")

// Tx is one change of a store. Exactly one can be open at a time.
type Tx struct {
	Dir string
	// Manifest is the state before; the caller changes a copy through Commit.
	Manifest *Manifest
	// No is the number of this load.
	No   int
	fs   FS
	lock *fileLock
	read *fileLock
	// applied says that a change of this Tx is in the manifest on disk.
	applied bool
}

// Begin opens a change of the store in dir, which is made if it does not
// exist. Left-overs of a load that was cut are cleared away. It returns
// ErrBusy (wrapped) if another load is at work.
func Begin(fsys FS, dir string) (*Tx, error) {
	if err := fsys.MkdirAll(dir); err != nil {
		return nil, fmt.Errorf("make store folder: %w", err)
	}
	if err := refuseNetwork(dir); err != nil {
		return nil, err
	}
	lock, err := lockFile(filepath.Join(dir, writeLockName), true)
	if errors.Is(err, errBusy) {
		return nil, fmt.Errorf("%s: %w", dir, ErrBusy)
	}
	if err != nil {
		return nil, fmt.Errorf("open store %s: %w", dir, err)
	}
	tx := &Tx{Dir: dir, fs: fsys, lock: lock}
	if err := tx.start(); err != nil {
		return nil, errors.Join(err, tx.Close())
	}
	return tx, nil
}

func (tx *Tx) start() error {
	m, err := readManifest(tx.Dir)
	if errors.Is(err, ErrNoStore) {
		if err := refuseForeign(tx.Dir); err != nil {
			return err
		}
		m, err = &Manifest{Format: FormatVersion}, nil
	}
	if err != nil {
		return err
	}
	tx.Manifest, tx.No = m, m.LastLoad()+1
	if err := tx.fs.Remove(filepath.Join(tx.Dir, stagingDir)); err != nil {
		return fmt.Errorf("clear left-overs of an earlier load: %w", err)
	}
	if err := tx.sweep(); err != nil {
		return err
	}
	// The files of the present must not vanish under the load that reads them.
	if tx.read, err = retryLock(filepath.Join(tx.Dir, readLockName), false); err != nil {
		return fmt.Errorf("open store %s: %w", tx.Dir, err)
	}
	return tx.fs.MkdirAll(tx.Staging())
}

// refuseForeign guards against taking somebody's folder for a store: without a
// manifest it may hold only what a cut first load leaves behind.
func refuseForeign(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("look into store folder: %w", err)
	}
	ours := map[string]bool{Current: true, History: true, Cases: true, Aside: true, stagingDir: true,
		definitionDir: true, readLockName: true, writeLockName: true, manifestName + ".tmp": true}
	for _, e := range entries {
		if !ours[e.Name()] {
			return fmt.Errorf("%s: expected an empty folder or a store, found %q; name another folder with --store", dir, e.Name())
		}
	}
	return nil
}

// Staging is the folder in which this load prepares its files.
func (tx *Tx) Staging() string {
	return filepath.Join(tx.Dir, stagingDir, fmt.Sprintf("load-%06d", tx.No))
}

// Paths are the absolute paths of the present files of a part and table; with
// months, only those partitions.
func (tx *Tx) Paths(part, table string, months ...int) []string {
	want := map[int]bool{}
	for _, m := range months {
		want[m] = true
	}
	var out []string
	for _, f := range tx.Manifest.Select(part, table) {
		if len(months) == 0 || want[f.Month] {
			out = append(out, tx.PathOf(f))
		}
	}
	return out
}

// PathOf is the path of a file of the present.
func (tx *Tx) PathOf(f File) string { return filepath.Join(tx.Dir, filepath.FromSlash(f.Path)) }

// Staged is a file ready to join the store.
type Staged struct {
	// Path is where the file lies now, below Staging.
	Path  string
	Part  string
	Table string
	Month int
	Rows  int64
}

// Change is what a load does to the manifest.
type Change struct {
	// Add are the new files.
	Add []Staged
	// Drop are paths, relative to the store, of files that leave the present.
	Drop []string
	// Texts are definitions to keep, by content.
	Texts [][]byte
	// Load is appended to the list of loads; its number must be the Tx's.
	Load *Load
	// Erasure is appended to the list of erasures.
	Erasure *Erasure
	// Definitions, KeyCheck and Software replace those of the manifest.
	Definitions Definitions
	KeyCheck    string
	Software    string
}

// Commit makes the change durable in the order that the package comment
// describes. After an error before the manifest's rename the store is as it
// was; the next Begin clears what was left.
func (tx *Tx) Commit(c Change) error {
	next, err := tx.place(c)
	if err != nil {
		return err
	}
	data, err := next.encode()
	if err != nil {
		return err
	}
	tmp := filepath.Join(tx.Dir, manifestName+".tmp")
	steps := []func() error{
		func() error { return tx.fs.WriteFile(tmp, data) },
		func() error { return tx.fs.SyncFile(tmp) },
		func() error { return tx.fs.Rename(tmp, filepath.Join(tx.Dir, manifestName)) },
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return fmt.Errorf("write manifest: %w", err)
		}
	}
	tx.Manifest, tx.applied = next, true
	if err := tx.fs.SyncDir(tx.Dir); err != nil {
		return fmt.Errorf("%w: sync store folder: %w", ErrApplied, err)
	}
	return nil
}

// place moves the staged files and texts to their names and makes the next manifest.
func (tx *Tx) place(c Change) (*Manifest, error) {
	next := &Manifest{Format: FormatVersion, Software: c.Software, KeyCheck: c.KeyCheck,
		Definitions: c.Definitions, Loads: append([]Load(nil), tx.Manifest.Loads...),
		Erasures: append([]Erasure(nil), tx.Manifest.Erasures...)}
	if c.Erasure != nil {
		next.Erasures = append(next.Erasures, *c.Erasure)
	}
	if c.Load != nil {
		next.Loads = append(next.Loads, *c.Load)
	}
	dropped := map[string]bool{}
	for _, p := range c.Drop {
		dropped[p] = true
	}
	for _, f := range tx.Manifest.Files {
		if !dropped[f.Path] {
			next.Files = append(next.Files, f)
		}
	}
	dirs := map[string]bool{tx.Dir: true}
	sums := hashAll(c.Add)
	for i, s := range c.Add {
		f, err := tx.placeFile(s, sums[i], dirs)
		if err != nil {
			return nil, fmt.Errorf("keep %s: %w", filepath.Base(s.Path), err)
		}
		next.Files = append(next.Files, f)
	}
	for _, text := range c.Texts {
		if err := tx.placeText(text, dirs); err != nil {
			return nil, fmt.Errorf("keep definition: %w", err)
		}
	}
	for _, d := range sortedKeys(dirs) {
		if err := tx.fs.SyncDir(d); err != nil {
			return nil, fmt.Errorf("sync folder: %w", err)
		}
	}
	return next, nil
}

// placeFile syncs one staged file and renames it to a name that no manifest
// has used: the number of the load and the start of its content's hash.
func (tx *Tx) placeFile(s Staged, hash func() (string, int64, error), dirs map[string]bool) (File, error) {
	if err := tx.fs.SyncFile(s.Path); err != nil {
		return File{}, err
	}
	sum, size, err := hash()
	if err != nil {
		return File{}, err
	}
	rel := s.Part
	if s.Table != "" {
		rel += "/" + s.Table
	}
	if s.Month != 0 {
		rel += fmt.Sprintf("/year=%d/month=%d", s.Month/100, s.Month%100)
	}
	dir := filepath.Join(tx.Dir, filepath.FromSlash(rel))
	if err := tx.fs.MkdirAll(dir); err != nil {
		return File{}, err
	}
	for d := dir; d != tx.Dir; d = filepath.Dir(d) {
		dirs[d] = true
	}
	rel += fmt.Sprintf("/load%06d-%s.parquet", tx.No, sum[:16])
	if err := tx.fs.Rename(s.Path, filepath.Join(tx.Dir, filepath.FromSlash(rel))); err != nil {
		return File{}, err
	}
	return File{Path: rel, Part: s.Part, Table: s.Table, Month: s.Month, Rows: s.Rows, Bytes: size, SHA256: sum}, nil
}

// hashAll hashes files in order, one a processor, while the disk writes the first of
// them: no file is moved before its hash is asked for.
func hashAll(files []Staged) []func() (string, int64, error) {
	type hashed struct {
		sum  string
		size int64
		err  error
	}
	out := make([]func() (string, int64, error), len(files))
	done := make([]chan hashed, len(files))
	for i := range files {
		done[i] = make(chan hashed, 1)
		out[i] = func() (string, int64, error) {
			h := <-done[i]
			return h.sum, h.size, h.err
		}
	}
	var next atomic.Int64
	for range min(runtime.GOMAXPROCS(0), len(files)) {
		go func() {
			for i := next.Add(1) - 1; i < int64(len(files)); i = next.Add(1) - 1 {
				sum, size, err := HashFile(files[i].Path)
				done[i] <- hashed{sum, size, err}
			}
		}()
	}
	return out
}

func (tx *Tx) placeText(text []byte, dirs map[string]bool) error {
	dir := filepath.Join(tx.Dir, definitionDir)
	hash := hashBytes(text)
	if _, err := readDefinition(tx.Dir, hash); err == nil {
		return nil
	}
	if err := tx.fs.MkdirAll(dir); err != nil {
		return err
	}
	dirs[dir] = true
	tmp := filepath.Join(tx.Staging(), hash+".yaml")
	if err := tx.fs.WriteFile(tmp, text); err != nil {
		return err
	}
	if err := tx.fs.SyncFile(tmp); err != nil {
		return err
	}
	return tx.fs.Rename(tmp, filepath.Join(dir, hash+".yaml"))
}

// Close gives the store back and clears what the load left over, committed
// or not. An error after a commit wraps ErrApplied.
func (tx *Tx) Close() error {
	var errs []error
	if tx.read != nil {
		errs = append(errs, tx.read.release())
		tx.read = nil
	}
	if tx.lock != nil {
		if tx.Manifest != nil {
			errs = append(errs, tx.fs.Remove(filepath.Join(tx.Dir, stagingDir)), tx.sweep())
		}
		errs = append(errs, tx.lock.release())
		tx.lock = nil
	}
	err := errors.Join(errs...)
	if err != nil && tx.applied {
		return fmt.Errorf("%w: clear up: %w", ErrApplied, err)
	}
	return err
}

// Unlisted counts the files in the store's folders, and their bytes, that its
// manifest does not list, with those that a cut load left in staging.
func Unlisted(dir string) (files int, bytes int64, err error) {
	m, err := readManifest(dir)
	if err != nil {
		return 0, 0, err
	}
	extra, err := unlisted(dir, m)
	if err != nil {
		return 0, 0, err
	}
	err = filepath.WalkDir(filepath.Join(dir, stagingDir), func(path string, d os.DirEntry, err error) error {
		if errors.Is(err, os.ErrNotExist) {
			return nil
		}
		if err == nil && !d.IsDir() {
			extra = append(extra, path)
		}
		return err
	})
	for _, path := range extra {
		st, serr := os.Stat(path)
		if errors.Is(serr, os.ErrNotExist) {
			continue // a load has just cleared it away
		}
		if serr != nil {
			return 0, 0, serr
		}
		files++
		bytes += st.Size()
	}
	return files, bytes, err
}

// OnlyListed reports whether the store's folders hold no file but those that
// its manifest lists.
func OnlyListed(dir string) (bool, error) {
	m, err := readManifest(dir)
	if err != nil {
		return false, err
	}
	extra, err := unlisted(dir, m)
	return len(extra) == 0, err
}

// unlisted finds the files of the store's folders that m does not list; a nil
// m lists none.
func unlisted(dir string, m *Manifest) (extra []string, err error) {
	listed := map[string]bool{}
	if m != nil {
		for _, f := range m.Files {
			listed[filepath.Join(dir, filepath.FromSlash(f.Path))] = true
		}
	}
	for _, part := range []string{Current, History, Cases, Aside} {
		err := filepath.WalkDir(filepath.Join(dir, part), func(path string, d os.DirEntry, err error) error {
			if errors.Is(err, os.ErrNotExist) {
				return nil
			}
			if err == nil && !d.IsDir() && !listed[path] && strings.HasSuffix(path, ".parquet") {
				extra = append(extra, path)
			}
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return extra, nil
}

// sweep deletes files that the manifest on disk does not list. It does so only
// when no reader holds the store; otherwise a later load will.
func (tx *Tx) sweep() error {
	lock, err := lockFile(filepath.Join(tx.Dir, readLockName), true)
	if errors.Is(err, errBusy) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("look for readers: %w", err)
	}
	defer lock.release()
	m, err := readManifest(tx.Dir)
	if err != nil && !errors.Is(err, ErrNoStore) {
		return err
	}
	extra, err := unlisted(tx.Dir, m)
	for _, path := range extra {
		err = errors.Join(err, tx.fs.Remove(path))
	}
	if err != nil {
		return fmt.Errorf("clear unlisted files: %w", err)
	}
	return nil
}

func sortedKeys(m map[string]bool) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

func hashBytes(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// HashText is the hash under which a definition is kept.
func HashText(text []byte) string { return hashBytes(text) }

// HashFile returns the SHA-256 of a whole file in hex, and its size in bytes.
func HashFile(path string) (sum string, size int64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	if err != nil {
		return "", 0, err
	}
	return hex.EncodeToString(h.Sum(nil)), n, nil
}
