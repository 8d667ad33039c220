package pipeline_test

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// A first load into an empty store skips every comparison with stored rows;
// monthly loads go through all of them, with late rows, corrections and moved
// episodes. Both must end with the same records and cases.
func TestOrderOfLoadingMakesNoDifference(t *testing.T) {
	dir := demoLine(t, twoMonths)
	once := loadOptions(t, dir)
	load(t, once)
	monthly := loadOptions(t, dir)
	monthly.Store = filepath.Join(dir, "monthly")
	loads := 0
	for _, m := range []string{"2026-05", "2026-06", "2026-07", "2026-08"} {
		pattern := filepath.Join(dir, "exports", "*-"+m+"_*")
		if files, _ := filepath.Glob(pattern); len(files) == 0 {
			continue
		}
		monthly.Exports = []string{pattern}
		load(t, monthly)
		loads++
	}
	if loads < 2 {
		t.Fatalf("%d loads; want at least 2", loads)
	}
	got, want := present(t, monthly.Store), present(t, once.Store)
	for name, w := range want {
		if got[name] != w {
			t.Errorf("%s: %s after monthly loads; %s after one", name, got[name], w)
		}
	}
	history := 0
	s, err := store.Open(monthly.Store)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, name := range resolve.Tables {
		history += len(s.Paths(store.History, name))
	}
	if history == 0 {
		t.Error("monthly loads superseded nothing; the test would not notice a fault")
	}
}

// present counts and hashes, whatever their order, the rows of each table and
// of the cases, without what tells which load or export brought them.
func present(t *testing.T, dir string) map[string]string {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	db := openDuck(t)
	out := map[string]string{}
	for _, name := range append([]string{"cases"}, resolve.Tables...) {
		paths, less := s.Paths(store.Current, name), "EXCLUDE (exported_at, load_no)"
		if name == "cases" {
			paths, less = s.Paths(store.Cases, ""), ""
		}
		var n int64
		var sum sql.NullString
		query := strings.Join([]string{"SELECT count(*), sum(hash(r)::HUGEINT)::VARCHAR FROM (SELECT *", less,
			"FROM read_parquet(" + duck.FileList(paths) + ", hive_partitioning = false)) r"}, " ")
		if err := db.QueryRow(query).Scan(&n, &sum); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if n == 0 {
			t.Errorf("%s: no rows", name)
		}
		out[name] = fmt.Sprintf("%d rows, hash %s", n, sum.String)
	}
	return out
}
