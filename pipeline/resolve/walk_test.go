package resolve

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/pipeline/store"
)

// A call that starts at another time than before stands elsewhere among the calls,
// while its checks, which no export repeats, stay where they are. The walk sees
// that they are out of step, and the month is derived by joins.
func TestMonthOutOfStepIsJoined(t *testing.T) {
	first := []call{{id: "a", animal: "rex", at: "2026-02-01 09:00", level: "soon"}, {id: "b", animal: "tom", at: "2026-02-02 09:00", level: "home_care"}}
	rows := map[bool]string{}
	for _, joins := range []bool{false, true} {
		l := line{t, t.TempDir()}
		set := testSettings(t)
		set.joinCases = joins
		l.loadAs("2026-03-03", map[string]string{"calls": l.calls(first...), "checks": l.checks("a pupils 1 done equal", "b pupils 1 done unequal")}, set, nil)
		if by := l.writers(); !joins && by != "hindcheck" {
			t.Errorf("cases written by %q; want the walk", by)
		}
		l.loadAs("2026-03-04", map[string]string{"calls": l.calls(call{id: "a", animal: "rex", at: "2026-02-03 09:00", level: "soon"})}, set, nil)
		if by := l.writers(); by == "hindcheck" {
			t.Error("cases written by the walk; want joins, as checks stand in another order than calls")
		}
		rows[joins] = l.rowsOf()
	}
	if diff := cmp.Diff(rows[true], rows[false]); diff != "" {
		t.Error(diff)
	}
}

// writers are the programs that wrote the stored cases.
func (l line) writers() (by string) {
	l.t.Helper()
	s, err := store.Open(l.dir)
	if err != nil {
		l.t.Fatal(err)
	}
	defer s.Close()
	db := l.db()
	defer db.Close()
	if err := db.QueryRow("SELECT string_agg(DISTINCT created_by, ', ') FROM parquet_file_metadata([" + quoteWords(s.Paths(store.Cases, "")) + "])").Scan(&by); err != nil {
		l.t.Fatal(err)
	}
	return by
}
