package resolve

import (
	"path/filepath"
	"testing"

	"hindcheck/pipeline/duck"
)

// What needs more memory than DuckDB is first given is done with more, and the
// limit stands again behind it; what needs more than four times as much fails.
func TestMoreMemory(t *testing.T) {
	db, err := duck.Open(t.Context(), duck.Options{Threads: 2, MemoryMB: 60, TempDir: filepath.Join(t.TempDir(), "spill")})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	r := &Resolver{db: db, opt: duck.Options{MemoryMB: 60}}
	if err := r.limit(t.Context(), 30); err != nil {
		t.Fatal(err)
	}
	held := func() (limit string) { // what does not spill: one list
		if err := db.QueryRow("SELECT current_setting('memory_limit')").Scan(&limit); err != nil {
			t.Fatal(err)
		}
		return limit
	}
	before := held()
	if _, err := db.Exec("CREATE TABLE tried AS SELECT list(i) AS all_of_them FROM range(6_000_000) r(i)"); !isOutOfMemory(err) {
		t.Fatalf("a list of six million numbers: %v; want it to need more than 30 MB", err)
	}
	if err := r.exec(t.Context(), "CREATE TABLE done AS SELECT len(list(i)) AS n FROM range(6_000_000) r(i)"); err != nil {
		t.Fatal(err)
	}
	if n, err := r.count(t.Context(), "SELECT n FROM done"); err != nil || n != 6_000_000 {
		t.Errorf("%d numbers, %v", n, err)
	}
	if got := held(); got != before {
		t.Errorf("the limit is %s; want %s as before", got, before)
	}
	if err := r.exec(t.Context(), "CREATE TABLE never AS SELECT len(list(i)) AS n FROM range(100_000_000) r(i)"); !isOutOfMemory(err) {
		t.Errorf("a list of a hundred million numbers: %v; want it to run out of memory", err)
	}
	if got := held(); got != before {
		t.Errorf("after a failure the limit is %s; want %s as before", got, before)
	}
}
