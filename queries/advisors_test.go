package queries_test

import (
	"database/sql"
	"testing"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

// desk has three calls of one advisor and one of another.
func desk(t *testing.T) (*queries.DB, *sql.DB) {
	t.Helper()
	d, db := line(t)
	a, b := queriestest.ID(601), queriestest.ID(602)
	for i, c := range []row{
		{"advisor": a, "level": "same_day", "rule_level": "home_care", "override_reason": "worried", "safety_net": true, "person_hurt": "none", "call_seconds": 100},
		{"advisor": a, "level": "soon", "rule_level": "same_day", "override_reason": "known_cause", "safety_net": false, "person_hurt": "bitten", "call_seconds": 300},
		{"advisor": a, "level": "soon", "rule_level": "soon"},
		{"advisor": b, "level": "soon", "person_hurt": "scratched"},
		{"advisor": nil, "level": "soon", "rule_level": "emergency"},
		{"advisor": b, "contact_type": "test"},
	} {
		if c["contact_type"] == nil {
			c["contact_type"] = "clinical"
		}
		c["call"], c["episode"], c["episode_month"], c["started_at"] = queriestest.ID(800+i), queriestest.ID(i+1), 202606, day(6, i+1)
		queriestest.Insert(t, db, "calls", c)
	}
	return d, db
}

func TestAdvisors(t *testing.T) {
	d, _ := line(t)
	got, err := d.Advisors(ctx, scope)
	same(t, got, err, queriestest.ID(601)+" 2")
	none, err := nobody(t).Advisors(ctx, scope)
	same(t, none, err, "")
}

func TestAdvisorChecks(t *testing.T) {
	d, db := desk(t)
	for i, k := range []row{
		{"call": queriestest.ID(800), "state": "done"},
		{"call": queriestest.ID(800), "state": "done", "observer": "vet"},
		{"call": queriestest.ID(801), "state": "not_possible"},
		{"call": queriestest.ID(801), "state": "declined"},
		{"call": queriestest.ID(802), "state": "not_asked", "reason": "skip_logic"},
		{"call": queriestest.ID(802), "state": "not_asked", "reason": "stopped_early"},
		{"call": queriestest.ID(803), "state": "done"},
		{"call": queriestest.ID(804), "state": "done"}, // nobody's
		{"call": queriestest.ID(805), "state": "done"}, // a test call
	} {
		k["finding"], k["seq"], k["episode_month"] = "gum_colour", i, 202606
		queriestest.Insert(t, db, "checks", k)
	}
	got, err := d.AdvisorChecks(ctx, scope)
	same(t, got, err, queriestest.ID(601)+" gum_colour 1 1 1 1 1\n"+queriestest.ID(602)+" gum_colour 1 0 0 0 0")
	none, err := nobody(t).AdvisorChecks(ctx, scope)
	same(t, none, err, "")
}

func TestAdvisorAdvice(t *testing.T) {
	d, _ := desk(t)
	got, err := d.AdvisorAdvice(ctx, scope)
	if err != nil || len(got) != 2 || *got[0].Seconds != 200 || got[1].Seconds != nil {
		t.Fatalf("%+v, %v", got, err)
	}
	got[0].Seconds = nil
	// contacts both above below | told known | scratched bitten known | seconds
	same(t, got, err, queriestest.ID(601)+" 3 3 1 1 1 2 0 1 2 <nil>\n"+queriestest.ID(602)+" 1 0 0 0 0 0 1 0 1 <nil>")
	none, err := nobody(t).AdvisorAdvice(ctx, scope)
	same(t, none, err, "")
}

func TestAdvisorChanges(t *testing.T) {
	d, _ := desk(t)
	got, err := d.AdvisorChanges(ctx, scope)
	same(t, got, err, queriestest.ID(601)+" above worried 1\n"+queriestest.ID(601)+" below known_cause 1")
	none, err := nobody(t).AdvisorChanges(ctx, scope)
	same(t, none, err, "")
}

func TestOverrideOutcomes(t *testing.T) {
	d, db := line(t)
	// 3 and 4 were raised, 5 lowered; the others were advised as the rules said.
	if _, err := db.Exec(`UPDATE cases SET recorded_rule_level = CASE WHEN level = 3 THEN 1 WHEN episode = '` + queriestest.ID(5) + `' THEN 4 ELSE level END`); err != nil {
		t.Fatal(err)
	}
	got, err := d.OverrideOutcomes(ctx, scope)
	// direction episodes known needed; 11 is too young
	same(t, got, err, `
		above 2 1 0
		below 1 1 1
	`)
	none, err := nobody(t).OverrideOutcomes(ctx, scope)
	same(t, none, err, "")
}

func TestAdvisorCases(t *testing.T) {
	d, db := line(t)
	// 1 was raised above the rules and needed it; 2 was not; 5 and 7 needed more.
	if _, err := db.Exec(`UPDATE cases SET advisor = '` + queriestest.ID(601) + `', recorded_rule_level = CASE WHEN episode = '` + queriestest.ID(1) + `' THEN 1 ELSE 4 END`); err != nil {
		t.Fatal(err)
	}
	got, err := d.AdvisorCases(ctx, scope)
	a := queriestest.ID(601)
	same(t, got, err, a+" needed_more "+queriestest.ID(7)+"\n"+a+" needed_more "+queriestest.ID(5)+"\n"+a+" raised_and_needed "+queriestest.ID(1))
	none, err := nobody(t).AdvisorCases(ctx, scope)
	same(t, none, err, "")
}
