package queries_test

import (
	"flag"
	"fmt"
	"testing"
	"time"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

var benchCases = flag.Int("cases", 200_000, "episodes in the table that the benchmarks count")

// BenchmarkQuestions times the questions that one review asks, on the invented
// year. Run: go test ./queries -run - -bench Questions -cases 5000000
func BenchmarkQuestions(b *testing.B) {
	d := queriestest.Year(b, *benchCases, 0.05)
	scope := queries.Scope{From: 202507, To: 202609, MatureBefore: time.Date(2026, 8, 18, 0, 0, 0, 0, time.UTC)}
	for name, ask := range map[string]func() error{
		"advice_counts":     func() error { _, err := d.AdviceCounts(ctx, scope); return err },
		"advice_clusters":   func() error { _, err := d.AdviceClusters(ctx, scope, 3, "animal"); return err },
		"level_outcome":     func() error { _, err := d.LevelOutcome(ctx, scope); return err },
		"missed_cases":      func() error { _, err := d.MissedCases(ctx, scope, 3); return err },
		"flag_counts":       func() error { _, err := d.FlagCounts(ctx, scope, 3); return err },
		"flag_escalation":   func() error { _, err := d.FlagEscalation(ctx, scope); return err },
		"flag_not_assessed": func() error { _, err := d.FlagNotAssessed(ctx, scope); return err },
		"flag_clusters":     func() error { _, err := d.FlagClusters(ctx, scope, 3, "animal"); return err },
		"finding_states":    func() error { _, err := d.FindingStates(ctx, scope); return err },
		"finding_values":    func() error { _, err := d.FindingValues(ctx, scope, 3, "check_pale_gums"); return err },
		"process_by_month":  func() error { _, err := d.ProcessByMonth(ctx, scope); return err },
		"flow":              func() error { _, err := d.Flow(ctx, scope); return err },
		"subgroups":         func() error { _, err := d.Subgroups(ctx, scope); return err },
		"contact_types":     func() error { _, err := d.ContactTypes(ctx, scope); return err },
	} {
		b.Run(fmt.Sprintf("question=%s/cases=%d", name, *benchCases), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := ask(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
