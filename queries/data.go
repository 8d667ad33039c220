package queries

// Questions about the data themselves.

import (
	"context"
	"time"
)

// SetAsideReasonsRow is one row of SetAsideReasons.
type SetAsideReasonsRow struct {
	// Column: column of the export.
	Column string `json:"column"`
	// Reason: short code such as unmapped_word.
	Reason string `json:"reason"`
	// Expected: what the column must hold.
	Expected string `json:"expected"`
	// Remedy: what to do.
	Remedy string `json:"remedy"`
	// Files: how many files had it.
	Files int64 `json:"files"`
	// N: rows.
	N int64 `json:"n"`
}

// SetAsideReasons answers: Which rows of the exports were refused, why, and what mends them? Over the
// whole store. One row per column, reason and remedy, most frequent first.
func (d *DB) SetAsideReasons(ctx context.Context) ([]SetAsideReasonsRow, error) {
	return ask(ctx, d, "set_aside_reasons", names{}, map[string]any{}, func(r *SetAsideReasonsRow) []any {
		return []any{&r.Column, &r.Reason, &r.Expected, &r.Remedy, &r.Files, &r.N}
	})
}

// FeedCoverageRow is one row of FeedCoverage.
type FeedCoverageRow struct {
	// Feed: name of the practice system or site.
	Feed string `json:"feed"`
	// Month: yyyymm.
	Month int `json:"month"`
	// Days: days of that month which a delivery covers.
	Days int `json:"days"`
	// DaysInMonth: days of that month.
	DaysInMonth int `json:"days_in_month"`
	// LastDelivery: latest delivery that covers any of them, null none.
	LastDelivery *time.Time `json:"last_delivery"`
}

// FeedCoverage answers: Which feed delivered outcomes for which days of each month? A feed that never came
// is not "no outcome". One row per feed known to the store and month.
func (d *DB) FeedCoverage(ctx context.Context, s Scope) ([]FeedCoverageRow, error) {
	return ask(ctx, d, "feed_coverage", names{}, s.args(), func(r *FeedCoverageRow) []any {
		return []any{&r.Feed, &r.Month, &r.Days, &r.DaysInMonth, &r.LastDelivery}
	})
}
