package pipeline_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// loadPieces asks for a longer run: how many pieces of how many calls, such as
// 10x5000000.
const loadPieces = "LOAD_PIECES"

// A store that grows piece by piece, each of later months than the one before
// and each deleted once it is loaded, takes no more memory for the last piece
// than for the first: what a load needs depends neither on the store's size nor
// on how much is loaded. Each piece is loaded by a process of its own, whose
// peak the system tells. By default two small pieces. HINDCHECK_BENCH_DIR names a
// folder that keeps the store, in place of that of an earlier run.
func TestLoadInPieces(t *testing.T) {
	if _, err := os.Stat("/proc/self/status"); err != nil {
		t.Skip("needs /proc, which tells a process's peak")
	}
	pieces, calls := 2, 300
	if s := os.Getenv(loadPieces); s != "" {
		if n, err := fmt.Sscanf(s, "%dx%d", &pieces, &calls); n != 2 || err != nil || pieces < 1 || pieces > 60 || calls < 1 {
			t.Fatalf("%s=%s: expected 1 to 60 pieces of a number of calls, such as 10x5000000", loadPieces, s)
		}
	}
	into := filepath.Join(t.TempDir(), "store")
	if dir := os.Getenv("HINDCHECK_BENCH_DIR"); dir != "" {
		into = filepath.Join(dir, fmt.Sprintf("pieces-%dx%d", pieces, calls))
		if err := os.RemoveAll(into); err != nil {
			t.Fatal(err)
		}
	}
	want, first := int64(0), 0
	for i := range pieces {
		peak, invented, loaded, records := loadPiece(t, into, i, pieces, calls)
		want += records
		if got := storedCalls(t, into); got != want {
			t.Fatalf("after piece %d the store holds %d calls; want %d", i+1, got, want)
		}
		t.Logf("%d calls in the store, piece %d of %d: peak of %d MB; loaded in %.0f s, invented in %.0f s", want, i+1, pieces, peak, loaded.Seconds(), invented.Seconds())
		if peak > mostMemory {
			t.Errorf("piece %d: peak of %d MB; want at most %d", i+1, peak, mostMemory)
		}
		if i == 0 {
			first = peak
		} else if calls >= fillsLimit && peak > first+mostGrowth {
			t.Errorf("piece %d: peak of %d MB, where the first took %d; want it flat", i+1, peak, first)
		}
	}
}

// loadPiece invents one piece, loads it and throws its exports away. All pieces
// together span five years up to October 2026, small ones a month each.
func loadPiece(t *testing.T, into string, i, pieces, calls int) (peak int, invented, loaded time.Duration, records int64) {
	t.Helper()
	months := min(60/pieces, 1+calls/20_000)
	from := time.Date(2026, 11, 15, 0, 0, 0, 0, time.UTC).AddDate(0, (i-pieces)*months, 0)
	began := time.Now()
	dir, planted := demoLineAndSummary(t, demo.Options{Seed: uint64(i + 1), Piece: i, Calls: calls, From: from, To: from.AddDate(0, months, 0)})
	invented = time.Since(began)
	k := killLine{what: "load", dir: dir, next: []string{filepath.Join(dir, "exports")}}
	began = time.Now()
	peak = k.peak(t, into)
	loaded = time.Since(began)
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	return peak, invented, loaded, planted.CallRecords
}

func storedCalls(t *testing.T, dir string) (n int64) {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	db, err := duck.Open(t.Context(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRow("SELECT count(*) FROM read_parquet(" + duck.FileList(s.Paths(store.Current, "calls")) + ", hive_partitioning = false)").Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}
