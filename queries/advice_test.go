package queries_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestAdviceCounts(t *testing.T) {
	d, _ := line(t)
	got, err := d.AdviceCounts(ctx, scope)
	// level rule flag need4 need3 route mature stratum n
	same(t, got, err, `
		0 0 false -1 -1 0 true [ ] 1        // 13, blanks are a stratum of their own
		1 1 false -1 -1 0 false [north dog] 1   // 10
		1 1 false -1 -1 0 true [north dog] 2    // 8 and 14
		1 1 false 0 0 3 true [south cat] 1      // 6
		1 4 true 1 1 2 true [south dog] 1       // 5
		2 1 false 0 1 4 true [south dog] 1      // 7
		3 1 false -1 -1 0 true [north dog] 1    // 4
		3 1 false 0 0 1 false [north dog] 1     // 11
		3 3 true 0 0 1 true [north cat] 1       // 3
		4 4 true 1 1 1 true [north dog] 3       // 1, 2, 9
	`)
	none, err := nobody(t).AdviceCounts(ctx, scope)
	same(t, none, err, "")
}

func TestAdviceClusters(t *testing.T) {
	d, _ := line(t)
	got, err := d.AdviceClusters(ctx, scope, 3, "animal")
	// need episodes escalated clusters; 6 and 7 have no animal on record
	same(t, got, err, `
		0 1 1 1   // 3
		1 1 0 1   // 5
		1 1 1 1   // 9
		1 2 2 1   // 1 and 2 are one animal
	`)
	got, err = d.AdviceClusters(ctx, scope, 4, "practice")
	same(t, got, err, "1 2 2 1")
	if _, err := d.AdviceClusters(ctx, scope, 4, "started_at"); err == nil {
		t.Error("a column that is no cluster must be refused")
	}
	none, err := nobody(t).AdviceClusters(ctx, scope, 3, "animal")
	same(t, none, err, "")
}

func TestLevelOutcome(t *testing.T) {
	d, _ := line(t)
	got, err := d.LevelOutcome(ctx, scope)
	// level vet_level route mature n
	same(t, got, err, `
		0 0 0 true 1
		1 0 0 false 1
		1 0 0 true 2
		1 1 3 true 1
		1 4 2 true 1
		2 3 4 true 1
		3 0 0 true 1
		3 1 1 false 1
		3 2 1 true 1
		4 4 1 true 3
	`)
	none, err := nobody(t).LevelOutcome(ctx, scope)
	same(t, none, err, "")
}

func TestRulesFollowed(t *testing.T) {
	d, _ := line(t)
	got, err := d.RulesFollowed(ctx, scope)
	// any_flag rule_level rule_high level need3 need4 mature n
	same(t, got, err, `
		false 0 4 0 -1 -1 true 1   // 13
		false 1 1 1 -1 -1 false 1  // 10
		false 1 1 1 0 0 true 1     // 6
		false 1 1 3 -1 -1 true 1   // 4: raised without a flag
		false 1 3 3 0 0 false 1    // 11
		false 1 4 1 -1 -1 true 2   // 8, 14
		false 1 4 2 1 0 true 1     // 7: raised to soon
		true 3 3 3 0 0 true 1      // 3
		true 4 4 1 1 1 true 1      // 5: lowered
		true 4 4 4 1 1 true 3      // 1, 2, 9
	`)
	none, err := nobody(t).RulesFollowed(ctx, scope)
	same(t, none, err, "")
}

func TestMissedCases(t *testing.T) {
	d, _ := line(t)
	got, err := d.MissedCases(ctx, scope, 3)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 2 {
		t.Fatalf("%d cases, want 5 (died) and 7", len(got))
	}
	first := got[0]
	if first.Episode[35:] != "5" || !first.Died || first.Level != 1 || first.VetLevel != 4 || first.Route != 2 ||
		first.LaterLevel != 4 || *first.OutcomeHours != 1.5 || first.Disposition != "died" || !first.StartedAt.Equal(day(6, 5)) {
		t.Errorf("first: %+v", first)
	}
	if diff := cmp.Diff([]int{0}, first.Fired); diff != "" {
		t.Error("flags that fired", diff)
	}
	if got[1].Episode[35:] != "7" || got[1].OutcomeHours != nil || len(got[1].Fired) != 0 {
		t.Errorf("second: %+v", got[1])
	}
	// At the emergency cut 7 did not need it, and no one else was missed but 5.
	got, err = d.MissedCases(ctx, scope, 4)
	if err != nil || len(got) != 1 {
		t.Errorf("emergency: %+v, %v", got, err)
	}
	none, err := nobody(t).MissedCases(ctx, scope, 3)
	same(t, none, err, "")
}

func TestNotAttended(t *testing.T) {
	d, _ := line(t)
	got, err := d.NotAttended(ctx, scope)
	same(t, got, err, "202606 3 cost -1 1")
	none, err := nobody(t).NotAttended(ctx, scope)
	same(t, none, err, "")
}

func TestCaseComponents(t *testing.T) {
	d, _ := line(t)
	got, err := d.CaseComponents(ctx, scope)
	if err != nil {
		t.Fatal(err)
	}
	// Mature with any outcome: 1, 2, 3, 5, 6, 7, 9. Needed: 1, 2, 5, 7, 9.
	want := map[string]int64{
		"admitted 1 1": 1, "admitted 0 1": 1, "admitted -1 1": 3, "admitted -1 0": 2,
		"level_emergency 1 1": 2, "level_emergency -1 1": 3, "level_emergency -1 0": 2,
	}
	for _, r := range got {
		key := r.Component + " " + itoa(r.Answer) + " " + itoa(r.NeedSameDay)
		if n, ok := want[key]; ok {
			if n != r.N {
				t.Errorf("%s: %d, want %d", key, r.N, n)
			}
			delete(want, key)
		}
	}
	if len(want) > 0 {
		t.Errorf("not counted: %v", want)
	}
	none, err := nobody(t).CaseComponents(ctx, scope)
	same(t, none, err, "")
}
