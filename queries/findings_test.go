package queries_test

import (
	"testing"
	"time"

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
	for i, r := range []row{
		{"finding": "gum_colour", "handling": "free", "state": "done", "call": queriestest.ID(1)},
		{"finding": "gum_colour", "handling": "free", "state": "done", "call": queriestest.ID(2), "episode_month": 202607},
		{"finding": "gum_colour", "handling": "wrapped", "state": "not_possible", "reason": "resisted", "call": queriestest.ID(2)},
		{"finding": "gum_colour", "handling": "wrapped", "state": "not_possible", "reason": "dark", "call": queriestest.ID(2)},
		{"finding": "gum_colour", "handling": nil, "state": "not_asked", "call": queriestest.ID(3)}, // a call without species
		{"finding": "gum_colour", "handling": "refused", "state": "declined", "call": queriestest.ID(1)},
		{"finding": "gum_colour", "handling": "free", "state": "done", "observer": "vet", "call": queriestest.ID(1)}, // the vet's own
		{"finding": "gum_colour", "handling": "free", "state": "done", "episode_month": 202605, "call": queriestest.ID(1)},
	} {
		if r["episode_month"] == nil {
			r["episode_month"] = 202606
		}
		r["seq"] = i
		queriestest.Insert(t, db, "checks", r)
	}
	for n, species := range map[int]any{1: "cat", 2: "dog", 3: nil} {
		queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(n), "species": species, "episode_month": 202606})
	}
	got, err := d.CheckHandling(ctx, scope)
	same(t, got, err, `
		gum_colour  not_asked 1
		gum_colour cat free done 1
		gum_colour cat refused declined 1
		gum_colour dog free done 1
		gum_colour dog wrapped not_possible dark 1
		gum_colour dog wrapped not_possible resisted 1
	`)
	none, err := nobody(t).CheckHandling(ctx, scope)
	same(t, none, err, "")
}

func TestFindings(t *testing.T) {
	got, err := nobody(t).Findings(ctx)
	same(t, got, err, "breathing_effort \n capillary_refill_s \n gum_colour")
}

func TestReadingPairs(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	check := func(call int, observer, finding string, seq int, code any, number any, hours float64) {
		queriestest.Insert(t, db, "checks", row{"call": queriestest.ID(call), "observer": observer, "finding": finding, "seq": seq, "state": "done",
			"value_code": code, "value_number": number, "asked_at": day(6, 1).Add(time.Duration(hours * float64(time.Hour))), "episode_month": 202606})
	}
	for call, treated := range map[int]any{1: false, 2: true, 3: false, 4: nil, 5: false} {
		queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(call), "started_at": day(6, 1), "episode_month": 202606})
		hours := map[int]float64{1: 2, 2: 2, 3: 9, 4: 2, 5: 4}[call]
		queriestest.Insert(t, db, "outcomes", row{"call": queriestest.ID(call), "source": "vet", "treatment_begun": treated, "episode_month": 202606,
			"seen_at": day(6, 1).Add(time.Duration(hours * float64(time.Hour)))})
		check(call, "vet", "gum_colour", 1, "white", nil, hours)
	}
	check(1, "owner", "gum_colour", 1, "white", nil, 0)
	check(1, "owner", "gum_colour", 2, "pink", nil, 0.1) // asked again: the last one counts
	check(2, "owner", "gum_colour", 1, "white", nil, 0)  // treated before the exam
	check(3, "owner", "gum_colour", 1, "white", nil, 0)  // seen after 9 h
	check(4, "owner", "gum_colour", 1, "white", nil, 0)  // not known whether treated
	check(5, "owner", "gum_colour", 1, "white", nil, 0)  // exactly 4 h
	check(5, "owner", "capillary_refill_s", 1, nil, 2.0, 0)
	check(5, "vet", "capillary_refill_s", 1, nil, 2.5, 4)
	got, err := d.ReadingPairs(ctx, scope, 4)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 4 {
		t.Fatalf("%+v", got)
	}
	if r := got[0]; r.Finding != "capillary_refill_s" || !r.Comparable || *r.OwnerNumber != 2 || *r.VetNumber != 2.5 || r.N != 1 {
		t.Errorf("refill: %+v", r)
	}
	for i, want := range []struct {
		comparable bool
		owner      string
		n          int64
	}{{false, "white", 3}, {true, "pink", 1}, {true, "white", 1}} {
		if r := got[i+1]; r.Finding != "gum_colour" || r.Comparable != want.comparable || r.OwnerCode != want.owner || r.VetCode != "white" || r.N != want.n {
			t.Errorf("gums: %+v, want %+v", r, want)
		}
	}
	none, err := nobody(t).ReadingPairs(ctx, scope, 4)
	same(t, none, err, "")
}
