package pipeline_test

import (
	"strings"
	"testing"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// A load derives every month of the demonstration line by the walk over its
// files, and the walk gives column by column what the SQL gives.
func TestWalkedCasesAreTheJoinedOnes(t *testing.T) {
	opt := loadOptions(t, demoLine(t, demo.Options{Seed: 3, Calls: 5000}))
	load(t, opt)
	s, err := store.Open(opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	defs, err := pipeline.StoredDefinitions(s)
	if err != nil {
		t.Fatal(err)
	}
	rel, err := resolve.Records(s, 0)
	if err != nil {
		t.Fatal(err)
	}
	joined, err := resolve.CasesSQL(rel, defs.Settings())
	if err != nil {
		t.Fatal(err)
	}
	db, err := duck.Open(t.Context(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	paths := duck.FileList(s.Paths(store.Cases, ""))
	one := func(query string) (out string) {
		t.Helper()
		if err := db.QueryRow(query).Scan(&out); err != nil {
			t.Fatal(err)
		}
		return out
	}
	if by := one("SELECT string_agg(DISTINCT created_by, ', ') FROM parquet_file_metadata(" + paths + ")"); by != "hindcheck" {
		t.Errorf("cases written by %s; want all by the walk", by)
	}
	if _, err := db.Exec("CREATE TABLE walked AS FROM read_parquet(" + paths + ", hive_partitioning = false); CREATE TABLE joined AS " + joined); err != nil {
		t.Fatal(err)
	}
	const shape = "SELECT string_agg(column_name || ' ' || data_type, ', ' ORDER BY column_index) FROM duckdb_columns() WHERE table_name = "
	if a, b := one(shape+"'walked'"), one(shape+"'joined'"); a != b {
		t.Errorf("walked columns %s\njoined columns %s", a, b)
	}
	for _, c := range strings.Split(one("SELECT string_agg(column_name, ' ' ORDER BY column_index) FROM duckdb_columns() WHERE table_name = 'joined'"), " ") {
		if n := one("SELECT count(*)::VARCHAR FROM walked w FULL JOIN joined j USING (episode) WHERE w." + c + " IS DISTINCT FROM j." + c); n != "0" {
			t.Errorf("column %s differs in %s cases", c, n)
		}
		if used := one("SELECT (count(DISTINCT " + c + ") > 0)::VARCHAR FROM joined"); used != "true" {
			t.Errorf("column %s is empty and would not notice a fault", c)
		}
	}
	if n := one("SELECT (SELECT count(*) FROM walked) || ' of ' || (SELECT count(*) FROM joined)"); n != strings.Split(n, " ")[0]+" of "+strings.Split(n, " ")[0] {
		t.Errorf("%s cases", n)
	}
}
