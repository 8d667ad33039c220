package queries_test

import (
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

// countedAlike are the answers of every question that may be counted from what is kept.
func countedAlike(t *testing.T, d *queries.DB, s queries.Scope) []any {
	t.Helper()
	var out []any
	var errs []error
	add := func(rows any, err error) { out, errs = append(out, rows), append(errs, err) }
	addRows := func(f func() (any, error)) { add(f()) }
	addRows(func() (any, error) { return d.AdviceCounts(ctx, s) })
	addRows(func() (any, error) { return d.RulesFollowed(ctx, s) })
	addRows(func() (any, error) { return d.FlagPatterns(ctx, s) })
	addRows(func() (any, error) { return d.FlagEscalation(ctx, s) })
	for _, cut := range []int{3, 4} {
		addRows(func() (any, error) { return d.FlagCounts(ctx, s, cut) })
		addRows(func() (any, error) { return d.NeedlessEscalations(ctx, s, cut) })
	}
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	return out
}

// What is counted from episodes kept alike is what is counted from the episodes.
func TestKeep(t *testing.T) {
	small, _ := line(t)
	long := queriestest.Year(t, 4000, 0.2)
	long.SetLong(true)
	whole, parts := queries.Scope{From: 202507, To: 202609, MatureBefore: day(8, 18)}, []queries.Scope{{From: 202510, To: 202606, MatureBefore: day(8, 18)}}
	for name, c := range map[string]struct {
		d     *queries.DB
		whole queries.Scope
		parts []queries.Scope
	}{
		"line": {small, scope, []queries.Scope{scope, {From: 202606, To: 202606, MatureBefore: scope.MatureBefore}}},
		"long": {long, whole, parts}, // cases are a table here, and stay one
		"year": {queriestest.Year(t, 4000, 0.2), queries.Scope{From: 202507, To: 202609, MatureBefore: day(8, 18)}, []queries.Scope{
			{From: 202507, To: 202609, MatureBefore: day(8, 18)}, {From: 202510, To: 202606, MatureBefore: day(8, 18)},
			{From: 202510, To: 202606, MatureBefore: day(5, 18)}, {From: 202401, To: 202606, MatureBefore: day(8, 18)}, // not kept
		}},
	} {
		var plain [][]any
		for _, s := range c.parts {
			plain = append(plain, countedAlike(t, c.d, s))
		}
		if err := c.d.Keep(ctx, c.whole); err != nil {
			t.Fatal(err)
		}
		for i, s := range c.parts {
			if diff := cmp.Diff(plain[i], countedAlike(t, c.d, s)); diff != "" {
				t.Errorf("%s, %v (-episodes +kept):\n%s", name, s, diff)
			}
		}
	}
}

// Episodes that come after Keep are not in what is kept: the test above would
// notice a question that reads the episodes all the same.
func TestKeepIsRead(t *testing.T) {
	d, db := line(t)
	if err := d.Keep(ctx, scope); err != nil {
		t.Fatal(err)
	}
	before := countedAlike(t, d, scope)
	queriestest.Case(t, db, meta, row{"n": 90, "started_at": time.Date(2026, 6, 20, 9, 0, 0, 0, time.UTC), "flags": "+++", "level": 4})
	if diff := cmp.Diff(before, countedAlike(t, d, scope)); diff != "" {
		t.Errorf("a question reads the episodes and not what is kept:\n%s", diff)
	}
}
