package pipeline_test

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// Months that are copied from staged pages hold the same rows in the same order
// under the same columns as those that DuckDB joins and sorts, and the account of
// every export is the same: in one load of everything, and in monthly loads with
// late rows, corrections and moved episodes.
func TestCopiedMonthsEqualPlainOnes(t *testing.T) {
	dir := demoLine(t, twoMonths)
	for _, months := range [][]string{{""}, {"-2026-05_", "-2026-06_", "-2026-07_", "-2026-08_"}} {
		var files, sums [2]string
		for i, name := range []string{"copied", "plain"} {
			opt := loadOptions(t, dir)
			opt.Store = filepath.Join(dir, fmt.Sprint(name, len(months)))
			if name == "plain" {
				opt = pipeline.Plainly(opt)
			}
			for _, m := range months {
				opt.Exports = []string{filepath.Join(dir, "exports", "*"+m+"*")}
				if found, _ := filepath.Glob(opt.Exports[0]); len(found) == 0 {
					continue
				}
				sum, err := json.Marshal(load(t, opt))
				if err != nil {
					t.Fatal(err)
				}
				sums[i] += string(sum) + "\n"
			}
			files[i] = storedFiles(t, opt.Store, name == "copied")
		}
		if files[0] != files[1] {
			t.Errorf("files of %d loads:\n%s\nplain:\n%s", len(months), files[0], files[1])
		}
		if sums[0] != sums[1] {
			t.Errorf("summaries of %d loads:\n%s\nplain:\n%s", len(months), sums[0], sums[1])
		}
	}
}

// A load gives the same bytes again, whichever worker read a row.
func TestCopiedMonthsAreTheSameBytes(t *testing.T) {
	dir := demoLine(t, demo.Options{Seed: 5, Calls: 3_000})
	var was string
	for i, threads := range []int{2, 1, 3} {
		opt := loadOptions(t, dir)
		opt.Store, opt.Threads = filepath.Join(dir, fmt.Sprint("store", i)), threads
		load(t, opt)
		now := tree(t, filepath.Join(opt.Store, "current", "calls")) + tree(t, filepath.Join(opt.Store, "current", "checks"))
		if i > 0 && now != was {
			t.Errorf("%d threads gave other files:\n%s\nbefore:\n%s", threads, now, was)
		}
		was = now
	}
}

// What the footers of copied files tell of their columns is true: a search that
// passes over row groups by it finds what a search of all rows finds.
func TestCopiedMonthsTellTheirLimits(t *testing.T) {
	opt := loadOptions(t, demoLine(t, demo.Options{Seed: 5, Calls: 1_000}))
	load(t, opt)
	s, err := store.Open(opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	db := openDuck(t)
	for table, columns := range map[string]string{"calls": "started_at recorded_at species breed_group age_months weight_kg call_seconds exported_at level episode_month",
		"checks": "asked_at edited_at finding seq value_number value_code count load_no"} {
		from := "read_parquet(" + duck.FileList(s.Paths(store.Current, table)) + ", hive_partitioning = false)"
		if _, err := db.Exec("CREATE TABLE " + table + " AS FROM " + from); err != nil {
			t.Fatal(err)
		}
		for _, c := range strings.Fields(columns) {
			var told, found, all int
			if err := db.QueryRow(fmt.Sprintf(`SELECT (SELECT count(stats_min_value) FROM parquet_metadata(%s) WHERE path_in_schema = '%s'),
				(SELECT count(*) FROM %s WHERE %[2]s IN ((SELECT min(%[2]s) FROM %[4]s), (SELECT max(%[2]s) FROM %[4]s))),
				(SELECT count(*) FROM %[4]s WHERE %[2]s IN ((SELECT min(%[2]s) FROM %[4]s), (SELECT max(%[2]s) FROM %[4]s)))`,
				duck.FileList(s.Paths(store.Current, table)), c, from, table)).Scan(&told, &found, &all); err != nil {
				t.Fatal(err)
			}
			if told == 0 || found != all || all == 0 {
				t.Errorf("%s.%s: limits in %d row groups; %d rows found by them, %d there", table, c, told, found, all)
			}
		}
	}
}

// storedFiles fingerprints every record file, its rows in their order, and
// checks that some of them were copied or none was.
func storedFiles(t *testing.T, dir string, wantCopied bool) string {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	db := openDuck(t)
	var out []string
	copied := map[string]int{}
	for _, f := range s.Manifest.Files {
		if f.Part != store.Current && f.Part != store.History {
			continue
		}
		path := duck.Quote(filepath.Join(dir, filepath.FromSlash(f.Path)))
		var n int64
		var sum, columns, by string
		if err := db.QueryRow("SELECT count(*), hash(list(hash(r) ORDER BY file_row_number))::VARCHAR FROM read_parquet("+path+", hive_partitioning = false, file_row_number = true) r").Scan(&n, &sum); err != nil {
			t.Fatal(err)
		}
		if err := db.QueryRow("SELECT string_agg(column_name || ' ' || column_type, ', ') FROM (DESCRIBE FROM read_parquet(" + path + ", hive_partitioning = false))").Scan(&columns); err != nil {
			t.Fatal(err)
		}
		if err := db.QueryRow("SELECT created_by FROM parquet_file_metadata(" + path + ")").Scan(&by); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(by, "DuckDB") {
			copied[f.Table]++
		}
		out = append(out, fmt.Sprintf("%s/%s %d: %d rows, hash %s, %s", f.Part, f.Table, f.Month, f.Rows, sum, columns))
		if n != f.Rows {
			t.Errorf("%s: %d rows, the manifest says %d", f.Path, n, f.Rows)
		}
	}
	if got := copied["calls"] > 0 && copied["checks"] > 0; got != wantCopied {
		t.Errorf("files copied by table: %v; want some: %v", copied, wantCopied)
	}
	return strings.Join(out, "\n")
}
