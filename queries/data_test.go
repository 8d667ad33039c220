package queries_test

import (
	"testing"
	"time"

	"hindcheck/queries/queriestest"
)

func TestSetAsideReasons(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	for _, r := range []row{
		{"file": "a.csv", "row": 2, "column": "Animal", "reason": "unmapped_word", "expected": "dog or cat", "remedy": "add the word"},
		{"file": "a.csv", "row": 9, "column": "Animal", "reason": "unmapped_word", "expected": "dog or cat", "remedy": "add the word"},
		{"file": "b.csv", "row": 3, "column": "Animal", "reason": "unmapped_word", "expected": "dog or cat", "remedy": "add the word"},
		{"file": "b.csv", "row": 4, "column": nil, "reason": "broken_row", "expected": nil, "remedy": nil},
	} {
		queriestest.Insert(t, db, "set_aside", r)
	}
	got, err := d.SetAsideReasons(ctx)
	// column reason expected remedy files n
	same(t, got, err, `
		Animal unmapped_word dog or cat add the word 2 3
		 broken_row   1 1
	`)
	none, err := nobody(t).SetAsideReasons(ctx)
	same(t, none, err, "")
}

func TestFeedCoverage(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	at := time.Date(2026, 8, 3, 0, 0, 0, 0, time.UTC)
	for _, r := range []row{
		{"feed": "vets", "from_date": "2026-05-20", "to_date": "2026-06-10", "delivered_at": at.AddDate(0, -1, 0)},
		{"feed": "vets", "from_date": "2026-06-08", "to_date": "2026-06-30", "delivered_at": at}, // overlaps
		{"feed": "owners", "from_date": "2026-07-01", "to_date": "2026-07-10", "delivered_at": at},
	} {
		queriestest.Insert(t, db, "coverage", r)
	}
	got, err := d.FeedCoverage(ctx, scope)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 4 {
		t.Fatalf("%d rows, want two feeds in two months", len(got))
	}
	for i, want := range []struct {
		feed       string
		month      int
		days, full int64
		delivered  bool
	}{
		{"owners", 202606, 0, 30, false}, {"owners", 202607, 10, 31, true},
		{"vets", 202606, 30, 30, true}, {"vets", 202607, 0, 31, false},
	} {
		g := got[i]
		if g.Feed != want.feed || g.Month != want.month || int64(g.Days) != want.days || int64(g.DaysInMonth) != want.full ||
			(g.LastDelivery != nil) != want.delivered {
			t.Errorf("got %+v, want %+v", g, want)
		}
	}
	if got[2].LastDelivery != nil && !got[2].LastDelivery.Equal(at) {
		t.Errorf("last delivery %v, want %v", got[2].LastDelivery, at)
	}
	none, err := nobody(t).FeedCoverage(ctx, scope)
	same(t, none, err, "")
}
