package queries_test

import (
	"testing"

	"hindcheck/queries/queriestest"
)

func TestFindingStates(t *testing.T) {
	d, _ := line(t)
	got, err := d.FindingStates(ctx, scope)
	// finding level n assessed not_asked not_possible declined stopped_early
	same(t, got, err, `
		0 0 1 0 1 0 0 0
		0 1 5 4 1 0 0 0   // 8 not asked
		0 2 1 1 0 0 0 0
		0 3 3 3 0 0 0 0
		0 4 3 3 0 0 0 0
		1 0 1 0 1 0 0 0
		1 1 5 4 0 0 1 0   // 8 declined; 14 pigmented counts as assessed
		1 2 1 0 0 1 0 0   // 7 not possible
		1 3 3 3 0 0 0 0
		1 4 3 2 0 0 0 1   // 9 stopped early
		2 0 1 0 1 0 0 0
		2 1 5 5 0 0 0 0
		2 2 1 1 0 0 0 0
		2 3 3 2 1 0 0 0   // 11 not asked
		2 4 3 3 0 0 0 0
	`)
	none, err := nobody(t).FindingStates(ctx, scope)
	same(t, none, err, "")
}

func TestFindingValues(t *testing.T) {
	d, _ := line(t)
	got, err := d.FindingValues(ctx, scope, 3, "gum_colour")
	// value need route level mature n
	same(t, got, err, `
		-4 1 1 4 true 1
		-3 -1 0 1 true 1
		-2 1 4 2 true 1
		-1 -1 0 0 true 1
		1 -1 0 1 false 1
		1 -1 0 3 true 1
		1 0 1 3 false 1
		1 0 1 3 true 1
		1 0 3 1 true 1
		1 1 1 4 true 1
		1 1 2 1 true 1
		2 1 1 4 true 1
		3 -1 0 1 true 1
	`)
	if _, err := d.FindingValues(ctx, scope, 3, "level"); err == nil {
		t.Error("a column that is no finding must be refused")
	}
	none, err := nobody(t).FindingValues(ctx, scope, 3, "gum_colour")
	same(t, none, err, "")
}

func TestFindingHeaping(t *testing.T) {
	d, db := line(t)
	queriestest.Case(t, db, meta, row{"n": 20, "started_at": day(6, 12), "species": "cat", "f_capillary_refill_s": 30})
	got, err := d.FindingHeaping(ctx, scope, "capillary_refill_s", 20, 10)
	// species readings below exact above whole
	same(t, got, err, `
		dog 9 9 0 0 0   // all but 3, 6, 11 (not asked), 12 (out of scope), 13
		cat 3 1 1 1 2   // 6 at 1.5 s, 3 at exactly 2 s, 20 at 3 s
	`)
	none, err := nobody(t).FindingHeaping(ctx, scope, "capillary_refill_s", 20, 10)
	same(t, none, err, "")
}

func TestCheckHandling(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	for _, r := range []row{
		{"finding": "gum_colour", "handling": "free", "state": "done", "episode_month": 202606},
		{"finding": "gum_colour", "handling": "free", "state": "done", "episode_month": 202607},
		{"finding": "gum_colour", "handling": "wrapped", "state": "not_possible", "episode_month": 202606},
		{"finding": "gum_colour", "handling": nil, "state": "not_asked", "episode_month": 202606},
		{"finding": "gum_colour", "handling": "refused", "state": "declined", "episode_month": 202606},
		{"finding": "gum_colour", "handling": "free", "state": "done", "episode_month": 202605},
	} {
		queriestest.Insert(t, db, "checks", r)
	}
	got, err := d.CheckHandling(ctx, scope)
	same(t, got, err, `
		gum_colour  not_asked 1
		gum_colour free done 2
		gum_colour refused declined 1
		gum_colour wrapped not_possible 1
	`)
	none, err := nobody(t).CheckHandling(ctx, scope)
	same(t, none, err, "")
}

func TestFindings(t *testing.T) {
	got, err := nobody(t).Findings(ctx)
	same(t, got, err, "breathing_effort \n capillary_refill_s \n gum_colour")
}
