package queries_test

import (
	"testing"

	"hindcheck/pipeline/findings"
	"hindcheck/queries/queriestest"
)

// unusualRows are readings of a dog and a cat: of the breathing of dogs (usual
// 10 to 30) one below, one at the end, one above; of a cat (20 to 40) one above.
func unusualRows() []row {
	return []row{
		{"call": queriestest.ID(1), "finding": "breathing_rate", "value_number": 8.0, "observer": "owner", "setting": "home"},
		{"call": queriestest.ID(1), "finding": "breathing_rate", "value_number": 30.0, "observer": "owner", "setting": "home", "seq": 2},
		{"call": queriestest.ID(1), "finding": "breathing_rate", "value_number": 120.0, "observer": "vet", "count": 30, "window_s": 15},
		{"call": queriestest.ID(2), "finding": "breathing_rate", "value_number": 60.0, "observer": "owner", "setting": "home"},
		{"call": queriestest.ID(2), "finding": "gum_colour", "value_code": "pink"},
		{"call": queriestest.ID(2), "finding": "onset_h", "value_number": 300.0}, // has no usual range
		{"call": queriestest.ID(3), "finding": "breathing_rate", "value_number": 200.0, "episode_month": 202512},
	}
}

func TestUnusualReadings(t *testing.T) {
	m := meta
	m.Dictionary = findings.Default()
	d, db := queriestest.Open(t, m)
	for i, species := range []string{"dog", "cat", "dog"} {
		queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(i + 1), "species": species})
	}
	for _, r := range unusualRows() {
		if r["episode_month"] == nil {
			r["episode_month"] = 202606
		}
		queriestest.Insert(t, db, "checks", r)
	}
	got, err := d.UnusualReadings(ctx, scope)
	// finding species observer setting low high readings below above
	same(t, got, err, `
		breathing_rate cat owner home 20 40 1 0 1
		breathing_rate dog owner home 10 30 2 1 0
		breathing_rate dog vet  10 30 1 0 1
	`)
	none, err := nobody(t).UnusualReadings(ctx, scope)
	same(t, none, err, "")
}

func TestUnusualCalls(t *testing.T) {
	m := meta
	m.Dictionary = findings.Default()
	d, db := queriestest.Open(t, m)
	for i, species := range []string{"dog", "cat", "dog"} {
		queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(i + 1), "species": species})
	}
	for _, r := range unusualRows() {
		if r["episode_month"] == nil {
			r["episode_month"] = 202606
		}
		queriestest.Insert(t, db, "checks", r)
	}
	got, err := d.UnusualCalls(ctx, scope, 2)
	if err != nil || len(got) != 2 {
		t.Fatalf("%d rows, %v; want the two furthest", len(got), err)
	}
	if got[0].Value != 120 || got[0].Call != queriestest.ID(1) || got[0].Count == nil || *got[0].Count != 30 || got[0].High != 30 {
		t.Errorf("first %+v; want 120 of the dog, counted 30 in 15 s", got[0])
	}
	if got[1].Value != 60 || got[1].Species != "cat" || got[1].Count != nil {
		t.Errorf("second %+v; want 60 of the cat", got[1])
	}
	none, err := nobody(t).UnusualCalls(ctx, scope, 2)
	if err != nil || len(none) != 0 {
		t.Errorf("of nobody: %v, %v", none, err)
	}
}
