package review

import (
	"testing"
	"time"

	"hindcheck/queries"
)

// A line with events every hour has a chart of the latest gaps, not of thousands.
func TestLatest(t *testing.T) {
	start := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	var rows []queries.RareMissesRow
	for i := range 3 * mostGaps {
		kind := "emergency"
		if i%3 == 0 {
			kind = "death"
		}
		rows = append(rows, queries.RareMissesRow{Kind: kind, StartedAt: start.Add(time.Duration(i) * time.Hour)})
	}
	b := &builder{}
	b.scope.To, b.mature.MatureBefore = 202612, start.AddDate(1, 0, 0)
	for kind, want := range map[string]int{"emergency": mostGaps, "death": mostGaps - 1, "none": 0} {
		got := latest(rows, kind)
		_, d := b.betweenChart(got, kind)
		if len(d.values) != want || d.baseline != want {
			t.Errorf("%s: %d gaps, %d of them behind the limits; want %d", kind, len(d.values), d.baseline, want)
		}
		if n := len(got); want == mostGaps && !got[n-1].StartedAt.Equal(rows[len(rows)-1].StartedAt) {
			t.Errorf("%s ends %v, not with the latest event", kind, got[n-1].StartedAt)
		}
	}
}
