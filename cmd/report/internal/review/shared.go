package review

import (
	"context"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// What other reports share with the review: how a figure is written, how
// verified episodes divide into found and sampled ones, which period is judged.

// RangeOf dresses the range of a figure.
func RangeOf(r metrics.Range) Range { return bounds(r) }

// ChoosePeriod says which months are judged and what is mature. from and to are
// yyyymm, or 0 for the twelve months to the latest mature one.
func ChoosePeriod(ctx context.Context, db *queries.DB, opt Options, from, to int) (Period, Maturity, queries.Scope, error) {
	opt.Month = to
	b, err := newBuilder(ctx, db, opt)
	if err != nil {
		return Period{}, Maturity{}, queries.Scope{}, err
	}
	if from != 0 {
		b.setPeriod(from, b.scope.To)
	}
	return b.period, b.mature, b.scope, nil
}

// LevelWord writes the level as it is stored.
func LevelWord(level int8) string { return word(levelWords, level) }

// LevelLabel writes the level that rules demand for people.
func LevelLabel(level int8) string { return word(ruleLabels, level) }

// AdviceLabel writes the level that was advised for people.
func AdviceLabel(level int8) string { return word(levelLabels, level) }

// RouteLabel writes for people how an outcome came to be known.
func RouteLabel(route int8) string { return word(routeLabels, route) }

// CutLabel says what at or above a cut means.
func CutLabel(cut int) string { return cutLabel(cut) }

// BelowLabel says what below a cut means.
func BelowLabel(cut int) string { return belowLabel(cut) }

// MonthName writes 202607 as July 2026.
func MonthName(month int) string { return monthName(month) }
