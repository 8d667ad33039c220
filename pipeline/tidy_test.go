package pipeline_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"hindcheck/pipeline"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// While somebody reads, a load leaves the files that it replaced; tidy deletes
// them once the reader is gone, and then a bare pattern names the present.
func TestTidy(t *testing.T) {
	h := newHandLine(t)
	h.load("calls_2026-05-02.csv", "no,at,animal\n1,2026-05-01 10:00,dog\n")
	reader, err := store.Open(h.opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	h.load("calls_2026-05-03.csv", "no,at,animal\n1,2026-05-01 10:00,cat\n2,2026-05-01 11:00,dog\n")
	cut := filepath.Join(h.opt.Store, "staging", "load-000003", "left.parquet")
	if err := os.MkdirAll(filepath.Dir(cut), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(cut, []byte("left over"), 0o644); err != nil {
		t.Fatal(err)
	}
	if n := globbed(t, h.opt.Store); n == 2 {
		t.Error("a bare pattern is right before tidying; the test would not notice")
	}
	if got, err := pipeline.Tidy(nil, h.opt.Store); !errors.Is(err, pipeline.ErrReader) {
		t.Errorf("beside a reader: %+v, %v; want ErrReader", got, err)
	}
	if err := reader.Close(); err != nil {
		t.Fatal(err)
	}
	before := digest(t, h.opt.Store, 0)
	if got, err := pipeline.Tidy(nil, h.opt.Store); err != nil || got.Files == 0 || got.Bytes == 0 {
		t.Errorf("tidy: %+v, %v", got, err)
	}
	if _, err := os.Stat(cut); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("what a cut load left: %v", err)
	}
	if n := globbed(t, h.opt.Store); n != 2 {
		t.Errorf("a bare pattern finds %d calls, want 2", n)
	}
	if digest(t, h.opt.Store, 0) != before || asOfRows(t, h.opt.Store, 1) != 1 {
		t.Error("the present or an earlier state changed")
	}
	if got, err := pipeline.Tidy(nil, h.opt.Store); err != nil || *got != (pipeline.Tidied{}) {
		t.Errorf("again: %+v, %v; want nothing", got, err)
	}
	if _, err := pipeline.Tidy(nil, filepath.Join(h.dir, "nowhere")); !errors.Is(err, store.ErrNoStore) {
		t.Errorf("no store: %v", err)
	}
}

// globbed counts the calls of a bare pattern.
func globbed(t *testing.T, dir string) (n int64) {
	t.Helper()
	if err := openDuck(t).QueryRow("SELECT count(*) FROM read_parquet('" + dir + "/current/calls/**/*.parquet')").Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func asOfRows(t *testing.T, dir string, n int) (rows int64) {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	query, err := resolve.AsOf(s, "calls", n)
	if err != nil {
		t.Fatal(err)
	}
	if err := openDuck(t).QueryRow("SELECT count(*) FROM (" + query + ")").Scan(&rows); err != nil {
		t.Fatal(err)
	}
	return rows
}
