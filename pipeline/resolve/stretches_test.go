package resolve

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/pipeline/duck"
)

// Of twenty outcomes every fifth has another episode than its call: those stand behind
// the others, each kind in order and in row groups of its own.
func TestStretchesOfOutcomes(t *testing.T) {
	l := line{t, t.TempDir()}
	db := l.db()
	defer db.Close()
	path := filepath.Join(l.dir, "x.parquet")
	from := "(SELECT i, md5(i::VARCHAR)::UUID AS call, CASE WHEN i % 5 > 0 THEN md5(i::VARCHAR)::UUID END AS episode FROM range(20) r(i))"
	if n, err := copyRows(t.Context(), db, "outcomes", path, "*", from, "i DESC"); err != nil || n != 20 {
		t.Fatalf("%d rows, %v", n, err)
	}
	var order, shared string
	if err := db.QueryRow("SELECT string_agg(i, ' ' ORDER BY file_row_number) FROM read_parquet(" + duck.Quote(path) + ", file_row_number = true)").Scan(&order); err != nil {
		t.Fatal(err)
	}
	if want := "19 18 17 16 14 13 12 11 9 8 7 6 4 3 2 1 15 10 5 0"; order != want {
		t.Errorf("rows %s; want %s", order, want)
	}
	if err := db.QueryRow(`SELECT string_agg(row_group_id || ':' || n || ' ' || one, ', ' ORDER BY row_group_id) FROM (SELECT row_group_id, any_value(row_group_num_rows) AS n,
		count(DISTINCT data_page_offset) = 1 AS one FROM parquet_metadata(` + duck.Quote(path) + `) WHERE path_in_schema IN ('call', 'episode') GROUP BY ALL)`).Scan(&shared); err != nil {
		t.Fatal(err)
	}
	if want := "0:16 true, 1:4 false"; shared != want {
		t.Errorf("row groups %s; want %s", shared, want)
	}
	if parts, _ := filepath.Glob(path + ".*"); len(parts) > 0 {
		t.Errorf("left behind: %s", strings.Join(parts, " "))
	}
	none := filepath.Join(l.dir, "none.parquet")
	if n, err := copyRows(t.Context(), db, "outcomes", none, "*", "(FROM "+fmt.Sprintf("%s WHERE i > 99)", from), "i"); err != nil || n != 0 {
		t.Errorf("of no rows: %d, %v", n, err)
	}
	if found, _ := filepath.Glob(none + "*"); len(found) > 0 {
		t.Errorf("of no rows: %v", found)
	}
}
