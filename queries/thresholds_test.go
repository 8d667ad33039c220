package queries_test

import (
	"testing"

	"hindcheck/queries/queriestest"
)

func TestThresholdValues(t *testing.T) {
	d, db := line(t)
	// calls of the line have the number 100 + n; the record that opened an episode carries its number.
	call := func(n, contact, episode int) {
		queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(n), "contact": queriestest.ID(contact), "episode": queriestest.ID(episode)})
	}
	check := func(n, seq int, more row) {
		r := row{"call": queriestest.ID(n), "finding": "capillary_refill_s", "state": "done", "seq": seq, "observer": "owner"}
		for k, v := range more {
			r[k] = v
		}
		queriestest.Insert(t, db, "checks", r)
	}
	for _, n := range []int{1, 2, 3, 4, 5} {
		call(n, n, n)
	}
	call(71, 1, 1) // the second number of the first contact of 1
	call(72, 72, 2)
	check(1, 1, row{"setting": "clinic", "animal_state": "excited"})
	check(71, 2, row{"setting": "home", "animal_state": "at_rest"}) // later in the same contact: this one counts
	check(2, 1, row{"setting": "home", "animal_state": "asleep"})
	check(72, 2, row{"setting": "clinic"}) // a later contact
	check(3, 1, row{"setting": "car"})
	check(3, 2, row{"setting": "clinic", "observer": "vet"})       // not the owner's
	check(4, 1, row{"setting": "home", "state": "declined"})       // no reading
	check(5, 1, row{"finding": "gum_colour", "setting": "clinic"}) // another finding
	got, err := d.ThresholdValues(ctx, scope, 3, "capillary_refill_s")
	// month species setting state value need route level mature stratum n
	same(t, got, err, `
		202606    -1 -1 0 0 true [ ] 1             // 13
		202606 cat   15 0 3 1 true [south cat] 1   // 6
		202606 cat car  20 0 1 3 true [north cat] 1
		202606 dog   15 -1 0 1 true [north dog] 2  // 8 and 14
		202606 dog   15 -1 0 3 true [north dog] 1  // 4
		202606 dog   15 1 1 4 true [north dog] 1   // 9
		202606 dog   15 1 2 1 true [south dog] 1   // 5
		202606 dog   15 1 4 2 true [south dog] 1   // 7
		202606 dog home asleep 15 1 1 4 true [north dog] 1
		202606 dog home at_rest 15 1 1 4 true [north dog] 1
		202607 dog   -1 0 1 3 false [north dog] 1  // 11
		202607 dog   15 -1 0 1 false [north dog] 1 // 10
	`)
	if _, err := d.ThresholdValues(ctx, scope, 3, "level"); err == nil {
		t.Error("a column that is no finding must be refused")
	}
	table, err := d.Run(ctx, "threshold_values", map[string]string{"finding": "capillary_refill_s", "from_month": "2026-06", "to_month": "2026-07", "mature_before": "2026-07-15", "cut": "same_day"}, nil)
	if err != nil || len(table.Rows) != len(got) {
		t.Errorf("by name: %d rows, %v", len(table.Rows), err)
	}
	none, err := nobody(t).ThresholdValues(ctx, scope, 3, "capillary_refill_s")
	same(t, none, err, "")
}
