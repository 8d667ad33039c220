package queries_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/queries"
)

// Asked a month at a time or all at once, the answer is the same.
func TestByMonth(t *testing.T) {
	d := open(t, demoStore(t), 0)
	s := queries.Scope{From: 202509, To: 202608, MatureBefore: day(9, 1)}
	var seconds [2][]queries.CheckSecondsRow
	var handling [2][]queries.CheckHandlingRow
	for i, long := range []bool{false, true} {
		d.SetLong(long)
		var err error
		if seconds[i], err = d.CheckSeconds(ctx, s); err != nil {
			t.Fatal(err)
		}
		if handling[i], err = d.CheckHandling(ctx, s); err != nil {
			t.Fatal(err)
		}
	}
	if diff := cmp.Diff(seconds[0], seconds[1]); diff != "" || len(seconds[0]) == 0 {
		t.Errorf("check_seconds (-at once +by month):\n%s", diff)
	}
	if diff := cmp.Diff(handling[0], handling[1]); diff != "" || len(handling[0]) == 0 {
		t.Errorf("check_handling (-at once +by month):\n%s", diff)
	}
}
