package pipeline_test

import (
	"fmt"
	"path/filepath"
	"testing"

	"hindcheck/pipeline"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// Whichever way a file is written, rows whose episode is their call stand in row groups of
// their own, whose columns episode and call share their pages, and both they and
// the others in the order of the table.
func TestEpisodesThatAreTheirCallShareItsPages(t *testing.T) {
	dir := demoLine(t, twoMonths)
	for _, way := range []string{"copied", "plain", "erased"} {
		opt := loadOptions(t, dir)
		opt.Store = filepath.Join(dir, way)
		if way == "plain" {
			opt = pipeline.Plainly(opt)
		}
		load(t, opt)
		if way == "erased" {
			eraseOne(t, opt)
		}
		shared := 0
		for _, f := range filesOf(t, opt.Store, "calls") {
			shared += sharedRows(t, f, "started_at, call")
		}
		if shared < 100 {
			t.Errorf("%s: %d calls stand on pages that their columns share; want most", way, shared)
		}
	}
}

// eraseOne erases an owner with calls.
func eraseOne(t *testing.T, opt pipeline.LoadOptions) {
	t.Helper()
	_, owner := subjects(t, opt.Exports[0])
	if _, err := pipeline.Erase(t.Context(), pipeline.EraseOptions{Store: opt.Store, Kind: "owner", Identifier: owner, Key: opt.Key, Now: opt.Now, Threads: 2}); err != nil {
		t.Fatal(err)
	}
}

func filesOf(t *testing.T, dir, table string) []string {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	return s.Paths(store.Current, table)
}

// sharedRows counts the rows of a file whose columns episode and call share pages.
func sharedRows(t *testing.T, path, order string) (rows int) {
	t.Helper()
	db := openDuck(t)
	// By row group: how many rows, and whether the two columns stand in one place.
	groups, err := db.Query(`SELECT any_value(row_group_num_rows), count(DISTINCT data_page_offset) = 1 FROM parquet_metadata(` + duck.Quote(path) + `)
		WHERE path_in_schema IN ('call', 'episode') GROUP BY row_group_id ORDER BY row_group_id`)
	if err != nil {
		t.Fatal(err)
	}
	defer groups.Close()
	at := 0
	for groups.Next() {
		var n, same, ordered int
		var one bool
		if err := groups.Scan(&n, &one); err != nil {
			t.Fatal(err)
		}
		query := fmt.Sprintf(`SELECT count(*) FILTER (episode IS NOT DISTINCT FROM call), count(*) FILTER (came = place) FROM (
			SELECT *, row_number() OVER (ORDER BY file_row_number) AS came, row_number() OVER (ORDER BY %s) AS place
			FROM read_parquet(%s, hive_partitioning = false, file_row_number = true) WHERE file_row_number BETWEEN %d AND %d)`, order, duck.Quote(path), at, at+n-1)
		if err := db.QueryRow(query).Scan(&same, &ordered); err != nil {
			t.Fatal(err)
		}
		if same != 0 && same != n || one != (same == n) || ordered != n {
			t.Errorf("%s: of %d rows %d have the call for their episode, %d in order, pages shared: %v", filepath.Base(path), n, same, ordered, one)
		}
		if one {
			rows += n
		}
		at += n
	}
	return rows
}
