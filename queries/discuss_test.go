package queries_test

import (
	"database/sql"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/queries/queriestest"
)

// told fills episode 7 of the line: the first contact with one check in each
// of the four states, a re-contact, a vet's reading, an audit row and two
// reviewers.
func told(t *testing.T, db *sql.DB) {
	t.Helper()
	e := queriestest.ID(7)
	queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(107), "contact": queriestest.ID(107), "episode": e, "contact_type": "clinical", "contact_kind": "first",
		"episode_month": 202606, "started_at": day(6, 7), "level": "soon", "rule_level": "home_care", "override_reason": "worried", "safety_net": true, "person_hurt": "none", "call_seconds": 300})
	queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(207), "contact": queriestest.ID(207), "episode": e, "contact_type": "clinical", "contact_kind": "re_contact",
		"episode_month": 202606, "started_at": day(6, 8), "level": "same_day"})
	queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(307), "contact": queriestest.ID(307), "episode": e, "contact_type": "not_clinical", "episode_month": 202606, "started_at": day(6, 9)})
	for i, k := range []row{
		{"finding": "breathing_effort", "state": "done", "value_code": "normal", "observer": "owner", "handling": "free"},
		{"finding": "gum_colour", "state": "not_possible", "reason": "dark", "observer": "owner"},
		{"finding": "capillary_refill_s", "state": "declined", "observer": "owner"},
		{"finding": "retching", "state": "not_asked", "reason": "stopped_early", "observer": "owner"},
		{"finding": "capillary_refill_s", "state": "done", "value_number": 2.5, "observer": "vet", "asked_at": day(6, 9)},
	} {
		k["call"], k["seq"], k["episode_month"] = queriestest.ID(107), i+1, 202606
		queriestest.Insert(t, db, "checks", k)
	}
	for i, o := range []row{
		{"source": "vet", "route": "own_decision", "seen_at": day(6, 9), "vet_level": "same_day", "disposition": "admitted", "practice": "practice_a", "treatment_begun": false, "call": queriestest.ID(107)},
		{"source": "panel", "route": "case_review", "seen_at": day(6, 20), "reviewer": queriestest.ID(701), "foreseeable": "yes", "avoidable": "unsure", "review_reason": "not_possible"},
		{"source": "advisor", "route": "case_review", "seen_at": day(6, 21), "reviewer": queriestest.ID(601)},
	} {
		o["outcome"], o["episode"], o["episode_month"] = queriestest.ID(900+i), e, 202606
		queriestest.Insert(t, db, "outcomes", o)
	}
}

func TestCaseAnimals(t *testing.T) {
	d, _ := line(t)
	got, err := d.CaseAnimals(ctx, []string{queriestest.ID(7), queriestest.ID(5), queriestest.ID(999)})
	if err != nil || len(got) != 2 {
		t.Fatalf("%+v, %v: want 5 and 7 in the order of time", got, err)
	}
	r := got[1]
	if r.Episode != queriestest.ID(7) || r.Level != 2 || r.NeedEmergency != 0 || r.NeedSameDay != 1 || r.AgeMonths != -1 || r.Attended != -1 || r.OutcomeHours != nil || r.Site != "south" {
		t.Errorf("%+v", r)
	}
	if diff := cmp.Diff([]int{1, -2, 15}, r.Values); diff != "" {
		t.Error("readings and blanks as stored", diff)
	}
	none, err := d.CaseAnimals(ctx, nil)
	same(t, none, err, "")
}

func TestCaseContacts(t *testing.T) {
	d, db := line(t)
	told(t, db)
	got, err := d.CaseContacts(ctx, []string{queriestest.ID(7)})
	if err != nil || len(got) != 2 {
		t.Fatalf("%+v, %v: want the two clinical contacts", got, err)
	}
	a, b := got[0], got[1]
	if a.Level != "soon" || a.RuleLevel != "home_care" || a.OverrideReason != "worried" || a.SafetyNet != "yes" || *a.CallSeconds != 300 || !a.StartedAt.Equal(day(6, 7)) {
		t.Errorf("first: %+v", a)
	}
	if b.ContactKind != "re_contact" || b.Level != "same_day" || b.SafetyNet != "" || b.CallSeconds != nil {
		t.Errorf("second: %+v", b)
	}
	none, err := nobody(t).CaseContacts(ctx, []string{queriestest.ID(7)})
	same(t, none, err, "")
}

func TestCaseChecks(t *testing.T) {
	d, db := line(t)
	told(t, db)
	got, err := d.CaseChecks(ctx, []string{queriestest.ID(7)})
	if err != nil || len(got) != 5 {
		t.Fatalf("%+v, %v", got, err)
	}
	var states []string
	for _, r := range got {
		states = append(states, r.Finding+" "+r.State+" "+r.Reason)
	}
	if diff := cmp.Diff([]string{"breathing_effort done ", "gum_colour not_possible dark", "capillary_refill_s declined ", "retching not_asked stopped_early", "capillary_refill_s done "}, states); diff != "" {
		t.Error("the owner's checks in the order asked, the vet's last", diff)
	}
	vet := got[4]
	if vet.Observer != "vet" || *vet.ValueNumber != 2.5 || vet.Treated == nil || *vet.Treated || !vet.AskedAt.Equal(day(6, 9)) || got[0].Treated != nil {
		t.Errorf("vet's reading: %+v", vet)
	}
	none, err := nobody(t).CaseChecks(ctx, []string{queriestest.ID(7)})
	same(t, none, err, "")
}

func TestCaseOutcomes(t *testing.T) {
	d, db := line(t)
	told(t, db)
	got, err := d.CaseOutcomes(ctx, []string{queriestest.ID(7)})
	if err != nil || len(got) != 3 {
		t.Fatalf("%+v, %v", got, err)
	}
	if got[0].Source != "vet" || got[0].Disposition != "admitted" || got[1].Foreseeable != "yes" || got[1].ReviewReason != "not_possible" || got[2].Source != "advisor" {
		t.Errorf("%+v", got)
	}
	none, err := nobody(t).CaseOutcomes(ctx, []string{queriestest.ID(7)})
	same(t, none, err, "")
}

func TestCaseJudgements(t *testing.T) {
	d, db := line(t)
	told(t, db)
	got, err := d.CaseJudgements(ctx, scope)
	same(t, got, err, queriestest.ID(7)+" advisor "+queriestest.ID(601)+"\n"+queriestest.ID(7)+" panel "+queriestest.ID(701)+" yes unsure not_possible")
	none, err := nobody(t).CaseJudgements(ctx, scope)
	same(t, none, err, "")
}

func TestUsualChecks(t *testing.T) {
	d, _ := line(t)
	got, err := d.UsualChecks(ctx, scope)
	// species complaint episodes put: declined, impossible and stopped count as put, not asked does not
	same(t, got, err, `
		1 [0 0 0]      // 13: nothing on record
		cat 2 [2 2 2]  // 3, 6
		dog 10 [9 10 9] // 8 was not asked for its breathing, 11 not for its refill
	`)
	none, err := nobody(t).UsualChecks(ctx, scope)
	same(t, none, err, "")
}

func TestNeedlessEscalations(t *testing.T) {
	d, db := line(t)
	got, err := d.NeedlessEscalations(ctx, scope, 3)
	// flag alone need n
	same(t, got, err, `
		0 true 1 2   // 1, 9
		0 false 1 1  // 2
		1 false 1 1  // 2
		2 true 0 1   // 3
	`)
	// At the emergency cut the slow refill demands nothing: an animal sent in
	// with it alone was the advisor's own decision.
	if _, err := db.Exec(`UPDATE cases SET level = 4 WHERE episode = '` + queriestest.ID(3) + `'`); err != nil {
		t.Fatal(err)
	}
	got, err = d.NeedlessEscalations(ctx, scope, 4)
	same(t, got, err, `
		-1 true 0 1  // 3
		0 true 1 2
		0 false 1 1
		1 false 1 1
	`)
	none, err := nobody(t).NeedlessEscalations(ctx, scope, 3)
	same(t, none, err, "")
}
