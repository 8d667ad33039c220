package store_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/pipeline/store"
	"hindcheck/pipeline/store/storetest"
)

// put runs one small load that replaces the file of a month and keeps a text.
func put(fsys store.FS, dir, content string) (err error) {
	tx, err := store.Begin(fsys, dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, tx.Close()) }()
	staged := filepath.Join(tx.Staging(), "calls.parquet")
	if err := fsys.WriteFile(staged, []byte(content)); err != nil {
		return err
	}
	var drop []string
	for _, f := range tx.Manifest.Select(store.Current, "calls") {
		drop = append(drop, f.Path)
	}
	return tx.Commit(store.Change{
		Add:   []store.Staged{{Path: staged, Part: store.Current, Table: "calls", Month: 202607, Rows: 1}},
		Drop:  drop,
		Texts: [][]byte{[]byte("rules of " + content)},
		Load:  &store.Load{No: tx.No},
	})
}

// state reads what a reader would see: load number and content.
func state(dir string) (string, error) {
	s, err := store.Open(dir)
	if errors.Is(err, store.ErrNoStore) {
		return "nothing", nil
	}
	if err != nil {
		return "", err
	}
	defer s.Close()
	var out []string
	for _, f := range s.Manifest.Select(store.Current, "calls") {
		data, err := os.ReadFile(filepath.Join(s.Dir, f.Path))
		if err != nil {
			return "", err
		}
		if int64(len(data)) != f.Bytes {
			return "", fmt.Errorf("%s has %d bytes, the manifest says %d", f.Path, len(data), f.Bytes)
		}
		out = append(out, string(data))
	}
	return fmt.Sprintf("load %d: %s", s.Manifest.LastLoad(), strings.Join(out, ",")), nil
}

func TestPowerCutAtEveryOperation(t *testing.T) {
	for _, before := range []string{"nothing", "load 1: first"} {
		after := map[string]string{"nothing": "load 1: second", "load 1: first": "load 2: second"}[before]
		sawBefore, sawAfter := 0, 0
		for cut := 0; ; cut++ {
			dir := t.TempDir()
			if before != "nothing" {
				if err := put(store.Disk{}, dir, "first"); err != nil {
					t.Fatal(err)
				}
			}
			p, err := storetest.NewPowerCut(dir, cut)
			if err != nil {
				t.Fatal(err)
			}
			done := put(p, dir, "second")
			for _, pessimist := range []bool{true, false} {
				survived := filepath.Join(t.TempDir(), "store")
				if err := p.Survivors(survived, pessimist); err != nil {
					t.Fatal(err)
				}
				got, err := state(survived)
				if err != nil {
					t.Fatalf("from %q, cut after %d operations, pessimist %v: %v", before, cut, pessimist, err)
				}
				switch got {
				case before:
					sawBefore++
				case after:
					sawAfter++
				default:
					t.Fatalf("from %q, cut after %d operations, pessimist %v: found %q", before, cut, pessimist, got)
				}
				if err := put(store.Disk{}, survived, "third"); err != nil {
					t.Fatalf("load after the cut: %v", err)
				}
				if got, err := state(survived); err != nil || !strings.HasSuffix(got, ": third") {
					t.Fatalf("load after the cut: state %q, error %v", got, err)
				}
			}
			if done == nil {
				break
			}
			if !errors.Is(done, storetest.ErrPowerCut) {
				t.Fatalf("cut after %d operations: %v", cut, done)
			}
		}
		if sawBefore == 0 || sawAfter < 2 {
			t.Errorf("from %q: %d cuts left the state before and %d the state after; want both", before, sawBefore, sawAfter)
		}
	}
}

// TestPowerCutNoticesAMissingSync shows that the double can fail a store: one
// that skips a sync is caught.
func TestPowerCutNoticesAMissingSync(t *testing.T) {
	caught := false
	for cut := 0; cut < 60 && !caught; cut++ {
		dir := t.TempDir()
		p, err := storetest.NewPowerCut(dir, cut)
		if err != nil {
			t.Fatal(err)
		}
		_ = put(noSync{p}, dir, "second")
		for _, pessimist := range []bool{true, false} {
			survived := filepath.Join(t.TempDir(), "store")
			if err := p.Survivors(survived, pessimist); err != nil {
				t.Fatal(err)
			}
			if got, err := state(survived); err != nil || (got != "nothing" && got != "load 1: second") {
				caught = true
			}
		}
	}
	if !caught {
		t.Error("a store that syncs no file survived every cut; the double is too kind")
	}
}

type noSync struct{ *storetest.PowerCut }

func (noSync) SyncFile(string) error { return nil }

func TestOneWriter(t *testing.T) {
	dir := t.TempDir()
	tx, err := store.Begin(store.Disk{}, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Close()
	if _, err := store.Begin(store.Disk{}, dir); !errors.Is(err, store.ErrBusy) {
		t.Errorf("second load: %v; want ErrBusy", err)
	}
}

func TestReaderKeepsItsFiles(t *testing.T) {
	dir := t.TempDir()
	if err := put(store.Disk{}, dir, "first"); err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := put(store.Disk{}, dir, "second"); err != nil {
		t.Fatal(err)
	}
	for _, p := range s.Paths(store.Current, "calls") {
		if data, err := os.ReadFile(p); err != nil || string(data) != "first" {
			t.Errorf("the reader's file: %q, %v; want what it opened", data, err)
		}
	}
	old := s.Paths(store.Current, "calls")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := put(store.Disk{}, dir, "third"); err != nil {
		t.Fatal(err)
	}
	for _, p := range old {
		if _, err := os.Stat(p); !os.IsNotExist(err) {
			t.Errorf("%s is still there after the reader left: %v", filepath.Base(p), err)
		}
	}
}

func TestFormatOfAnotherVersion(t *testing.T) {
	for _, c := range []struct {
		format int
		want   string
	}{{99, "newer program"}, {0, "load the exports again"}} {
		dir := t.TempDir()
		manifest := fmt.Sprintf(`{"format": %d}`, c.format)
		if err := os.WriteFile(filepath.Join(dir, "manifest.json"), []byte(manifest), 0o644); err != nil {
			t.Fatal(err)
		}
		var fe *store.FormatError
		_, err := store.Open(dir)
		if !errors.As(err, &fe) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("format %d: %v; want a FormatError that says %q", c.format, err, c.want)
		}
		if _, err := store.Begin(store.Disk{}, dir); !errors.As(err, &fe) {
			t.Errorf("begin with format %d: %v; want a FormatError", c.format, err)
		}
	}
}

func TestForeignFolderIsRefused(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "thesis.txt"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Begin(store.Disk{}, dir); err == nil || !strings.Contains(err.Error(), "thesis.txt") {
		t.Errorf("begin in a foreign folder: %v; want a refusal that names the file", err)
	}
	if _, err := store.Open(filepath.Join(dir, "nowhere")); !errors.Is(err, store.ErrNoStore) {
		t.Errorf("open nowhere: %v; want ErrNoStore", err)
	}
}
