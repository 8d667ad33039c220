package queries_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

// A question that reads the files of its months gives what it gives over all files.
func TestFilesOfMonths(t *testing.T) {
	store := demoStore(t)
	pruned, whole := open(t, store, 0), open(t, store, 0)
	whole.ReadViews()
	all, err := queries.Questions()
	if err != nil {
		t.Fatal(err)
	}
	few := map[string]string{
		"from_month": "2025-10", "to_month": "2026-02", "mature_before": "2026-01-20", "cut": "same_day", "cluster": "animal", "current": "in_force", "proposed": "in_force",
		"most": "100", "night_from": "20", "night_to": "8", "hours": "4", "doubtful": "0.5", "finding": "breathing_rate", "threshold": "30", "scale": "1",
		"from_time": "2025-10-01", "to_time": "2025-10-08", "known_by": "2025-10-13", "episodes": queriestest.ID(1),
	}
	rows := 0
	for _, q := range all {
		a, errA := pruned.Run(ctx, q.Name, nil, few)
		b, errB := whole.Run(ctx, q.Name, nil, few)
		if (errA == nil) != (errB == nil) {
			t.Errorf("%s: %v, over all files %v", q.Name, errA, errB)
		}
		if diff := cmp.Diff(b.Rows, a.Rows); diff != "" {
			t.Errorf("%s (-all files +those of the months):\n%s", q.Name, diff)
		}
		rows += len(a.Rows)
	}
	if rows < 1000 {
		t.Errorf("%d rows of all questions, too few to tell", rows)
	}
}
