package queries_test

import (
	"testing"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

func TestTunePatterns(t *testing.T) {
	d, _ := line(t)
	p := proposed(t)
	steps, err := rules.StepSet(p.Set, []rules.Steps{
		{Flag: 1, Condition: 0, Lower: true, At: []string{"1.0", "1.5", "2.0"}}, // refill
		{Flag: 0, Condition: -1}, // effort of dogs, as it is
	})
	if err != nil {
		t.Fatal(err)
	}
	compiled, err := rules.Compile(steps, findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	got, err := d.TunePatterns(ctx, scope, 3, queries.Tuning{Steps: compiled, Counts: []int{3, 1}})
	// month present rest bins need route level mature stratum n; present is the line's own rules
	same(t, got, err, `
		202606 false false [0 0] -1 0 0 true [ ] 1            // 13: nothing assessed
		202606 false false [2 -1] -1 0 1 true [north dog] 1   // 8: effort not asked
		202606 false false [2 0] -1 0 1 true [north dog] 1    // 14
		202606 false false [2 0] -1 0 3 true [north dog] 1    // 4
		202606 false false [2 0] 0 3 1 true [south cat] 1     // 6
		202606 false false [2 0] 1 4 2 true [south dog] 1     // 7
		202606 true false [2 1] 1 1 4 true [north dog] 3      // 1, 2, 9
		202606 true false [2 1] 1 2 1 true [south dog] 1      // 5
		202606 true false [3 0] 0 1 3 true [north cat] 1      // 3
		202607 false false [-3 0] 0 1 3 false [north dog] 1   // 11: refill not asked
		202607 false false [2 0] -1 0 1 false [north dog] 1   // 10
	`)
	rest, err := rules.Compile(rules.Without(p.Set, []int{1}), findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	got, err = d.TunePatterns(ctx, scope, 3, queries.Tuning{Rest: rest, Steps: compiled, Counts: []int{3, 1}})
	if err != nil {
		t.Fatal(err)
	}
	sent := int64(0)
	for _, r := range got {
		if r.Rest {
			sent += r.N
		}
	}
	if sent != 4 {
		t.Errorf("the rest sends %d in, want the 4 dogs that breathe hard", sent)
	}
	byName, err := d.TunePatterns(ctx, scope, 3, queries.Tuning{})
	if err != nil || len(byName) == 0 || byName[0].Rest != byName[0].Present {
		t.Errorf("nothing tuned: %v, %v", byName, err)
	}
	none, err := nobody(t).TunePatterns(ctx, scope, 3, queries.Tuning{Steps: compiled, Counts: []int{3, 1}})
	same(t, none, err, "")
}

// A flag that asks more of the animal than its species counts the readings of
// those animals alone.
func TestTuneReadings(t *testing.T) {
	d, db := line(t)
	if _, err := db.Exec("UPDATE cases SET age_months = CASE WHEN species = 'dog' THEN 120 ELSE 6 END"); err != nil {
		t.Fatal(err)
	}
	set, err := rules.Parse("old.yaml", []byte(`ruleset: old
title: T
owner: O
reason: R
effective: 2026-01-01
status: S
otherwise: home_care
flags:
  - {id: all, title: T, why: W, demands: same_day, when_unknown: leave, all: [{finding: capillary_refill_s, at_least: 0}]}
  - {id: young, title: T, why: W, demands: same_day, when_unknown: raise, age_months: {below: 12}, all: [{finding: capillary_refill_s, at_least: 0}]}
  - {id: dogs, title: T, why: W, demands: same_day, when_unknown: leave, species: [dog], all: [{finding: capillary_refill_s, at_least: 0}]}
`))
	if err != nil {
		t.Fatal(err)
	}
	compiled, err := rules.Compile(set, findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	got, err := d.TuneReadings(ctx, scope, queries.Tuning{Steps: compiled, Counts: []int{1, 1, 1}})
	same(t, got, err, `
		0 15 10  // all but 3, 11 and 13
		0 20 1   // 3
		1 15 1   // 6
		1 20 1   // 3
		2 15 9   // 1, 2, 4, 5, 7, 8, 9, 10, 14
	`)
	none, err := nobody(t).TuneReadings(ctx, scope, queries.Tuning{})
	same(t, none, err, "")
}
