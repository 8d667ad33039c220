package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// Verification is what Verify found.
type Verification struct {
	// Files and Bytes were read and compared with the manifest.
	Files int   `json:"files"`
	Bytes int64 `json:"bytes"`
	// Faults name each file that is missing or differs, and what to do.
	Faults []string `json:"faults"`
	// CasesDiffer says that the stored cases are not what the records and
	// definitions give; CasesCompared that this was looked at.
	CasesCompared bool `json:"cases_compared"`
	CasesDiffer   bool `json:"cases_differ"`
}

// Verify reads every file of the store and compares it with the manifest's
// checksums, then derives all cases from the records and compares them with
// the stored ones. What it finds is no error; an error means that it could not
// look.
func Verify(ctx context.Context, dir string, threads int) (*Verification, error) {
	s, err := store.Open(dir)
	if err != nil {
		return nil, fmt.Errorf("verify: %w", err)
	}
	defer s.Close()
	v := &Verification{Faults: []string{}}
	for _, f := range s.Manifest.Files {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		fault, err := checkFile(dir, f)
		if err != nil {
			return nil, fmt.Errorf("verify: %w", err)
		}
		v.Files++
		v.Bytes += f.Bytes
		if fault != "" {
			v.Faults = append(v.Faults, fault)
		}
	}
	if len(v.Faults) > 0 {
		return v, nil // cases of damaged records say nothing
	}
	v.CasesCompared = true
	v.CasesDiffer, err = casesDrifted(ctx, s, threads)
	return v, err
}

// checkFile returns what is wrong with one file, in words, or nothing.
func checkFile(dir string, f store.File) (fault string, err error) {
	sum, n, err := store.HashFile(filepath.Join(dir, filepath.FromSlash(f.Path)))
	if errors.Is(err, fs.ErrNotExist) {
		return f.Path + ": expected a file that the manifest lists, found none; restore it from a backup, or load the exports again into a new store", nil
	}
	if err != nil {
		return "", err
	}
	if n != f.Bytes || sum != f.SHA256 {
		return fmt.Sprintf("%s: expected %d bytes with checksum %s, found %d bytes with %s; restore it from a backup, or load the exports again into a new store",
			f.Path, f.Bytes, f.SHA256[:16], n, sum[:16]), nil
	}
	return "", nil
}

// casesDrifted derives all cases and compares them with the stored ones by
// number and an order-free sum of row hashes.
func casesDrifted(ctx context.Context, s *store.Snapshot, threads int) (bool, error) {
	defs, err := StoredDefinitions(s)
	if err != nil {
		return false, err
	}
	rel, err := resolve.Records(s, 0)
	if err != nil {
		return false, err
	}
	fresh, err := resolve.CasesSQL(rel, defs.Settings())
	if err != nil {
		return false, err
	}
	paths := s.Paths(store.Cases, "")
	if len(paths) == 0 {
		return s.Manifest.LastLoad() > 0 && len(s.Paths(store.Current, "calls")) > 0, nil
	}
	spill, err := os.MkdirTemp("", "hindcheck-verify-*")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(spill)
	db, err := duck.Open(ctx, duck.Options{Threads: threads, TempDir: spill})
	if err != nil {
		return false, err
	}
	defer db.Close()
	var sums [2]string
	for i, query := range []string{fresh, "SELECT * FROM read_parquet(" + duck.FileList(paths) + ", hive_partitioning = false)"} {
		sum := "SELECT count(*) || ' ' || coalesce(sum(hash(r)::HUGEINT)::VARCHAR, '') FROM (" + query + ") r"
		if err := db.QueryRowContext(ctx, sum).Scan(&sums[i]); err != nil {
			return false, fmt.Errorf("compare cases: %w", err)
		}
	}
	return sums[0] != sums[1], nil
}

// RebuildOptions say which cases to derive anew, and with what means.
type RebuildOptions struct {
	Store             string
	Threads, MemoryMB int
	Software          string
	// FS is the disk; nil means the real one.
	FS store.FS
}

// Rebuild derives the cases of all months anew from the records, under the
// definitions in force. The records are not touched.
func Rebuild(ctx context.Context, opt RebuildOptions) (err error) {
	if opt.FS == nil {
		opt.FS = store.Disk{}
	}
	s, err := store.Open(opt.Store)
	if err != nil {
		return fmt.Errorf("rebuild: %w", err)
	}
	defs, err := StoredDefinitions(s)
	if err = errors.Join(err, s.Close()); err != nil {
		return err
	}
	defer func() { err = diskRemedy(opt.Store, err) }()
	tx, err := store.Begin(opt.FS, opt.Store)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, tx.Close()) }()
	set := defs.Settings()
	set.RebuildCases = true
	res, err := resolve.Run(ctx, tx, resolve.Input{}, set, duck.Options{Threads: opt.Threads, MemoryMB: first(opt.MemoryMB, defaultMemory(opt.Threads))})
	if err != nil {
		return fmt.Errorf("rebuild: %w", err)
	}
	ids := tx.Manifest.Definitions
	ids.CasesFormat, ids.DictionaryContent = resolve.CasesFormat, defs.Dictionary.Hash()
	return tx.Commit(store.Change{Add: res.Add, Drop: res.Drop, Definitions: ids, KeyCheck: tx.Manifest.KeyCheck, Software: opt.Software})
}
