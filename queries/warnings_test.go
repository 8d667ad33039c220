package queries_test

import (
	"database/sql"
	"testing"

	"hindcheck/queries/queriestest"
)

// register adds the call records of episodes 1, 5 and 8 of the line: 1 without
// a word on complaints, 5 complained of, 8 looked up and nothing found.
func register(t *testing.T, db *sql.DB) {
	t.Helper()
	for n, complaint := range map[int]any{1: nil, 5: "advice", 8: "none"} {
		queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(100 + n), "contact": queriestest.ID(100 + n), "episode": queriestest.ID(n),
			"contact_type": "clinical", "episode_month": 202606, "started_at": day(6, n), "formal_complaint": complaint})
	}
}

func TestEarlyWarnings(t *testing.T) {
	d, db := line(t)
	register(t, db)
	got, err := d.EarlyWarnings(ctx, scope, 0)
	if err != nil || len(got) != 1 {
		t.Fatalf("%+v, %v: want episode 5 alone", got, err)
	}
	r := got[0]
	if r.Episode != queriestest.ID(5) || !r.Recontact24h || !r.RaisedLater || !r.Died || r.FormalComplaint != "advice" || r.LaterLevel != 4 || *r.OutcomeHours != 1.5 {
		t.Errorf("%+v", r)
	}
	// A complaint alone is a warning, too; a later contact without advice before it is none.
	queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(106), "episode": queriestest.ID(6), "contact_type": "clinical", "episode_month": 202606, "formal_complaint": "conduct"})
	if _, err := db.Exec(`UPDATE cases SET later_level = 2 WHERE episode = '` + queriestest.ID(13) + `'`); err != nil {
		t.Fatal(err)
	}
	if got, err = d.EarlyWarnings(ctx, scope, 0); err != nil || len(got) != 2 || got[1].Episode != queriestest.ID(6) || got[1].FormalComplaint != "conduct" {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err = d.EarlyWarnings(ctx, scope, 1); err != nil || len(got) != 1 || got[0].Episode != queriestest.ID(5) {
		t.Errorf("%+v, %v: want the gravest alone", got, err)
	}
	none, err := nobody(t).EarlyWarnings(ctx, scope, 0)
	same(t, none, err, "")
}

func TestWarningCounts(t *testing.T) {
	d, db := line(t)
	register(t, db)
	got, err := d.WarningCounts(ctx, scope)
	// month episodes recontact raised died complained looked_up any
	same(t, got, err, `
		202606 11 1 1 1 1 2 1
		202607 2 0 0 0 0 0 0
	`)
	none, err := nobody(t).WarningCounts(ctx, scope)
	same(t, none, err, "")
}

func TestAttendance(t *testing.T) {
	d, _ := line(t)
	got, err := d.Attendance(ctx, scope)
	// level went stayed_away unknown
	same(t, got, err, `
		4 2 0 1 // 9 has no word
		3 0 1 2
	`)
	none, err := nobody(t).Attendance(ctx, scope)
	same(t, none, err, "")
}

func TestPersonHurtCalls(t *testing.T) {
	d, db := line(t)
	// The species is that of the call that opened the episode.
	queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(8), "episode": queriestest.ID(8), "contact_type": "clinical", "episode_month": 202606,
		"started_at": day(6, 8), "person_hurt": "none", "species": "dog"})
	queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(108), "episode": queriestest.ID(8), "contact_type": "clinical", "episode_month": 202606,
		"started_at": day(6, 8), "person_hurt": "bitten", "advisor": queriestest.ID(601)})
	queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(109), "episode": queriestest.ID(9), "contact_type": "clinical", "episode_month": 202606,
		"started_at": day(6, 9), "person_hurt": "none"})
	for i, k := range []row{
		{"finding": "breathing_effort", "state": "done", "handling": "free"},
		{"finding": "gum_colour", "state": "not_possible", "reason": "resisted", "handling": "held"},
		{"finding": "capillary_refill_s", "state": "declined", "handling": "refused"},
		{"finding": "gum_colour", "state": "done", "observer": "vet", "handling": "wrapped"},
	} {
		k["call"], k["seq"], k["episode_month"] = queriestest.ID(108), i+1, 202606
		queriestest.Insert(t, db, "checks", k)
	}
	got, err := d.PersonHurtCalls(ctx, scope)
	if err != nil || len(got) != 1 {
		t.Fatalf("%+v, %v", got, err)
	}
	got[0].StartedAt = day(1, 1).UTC()
	same(t, got, err, "202606 "+queriestest.ID(108)+" 2026-01-01 09:30:00 +0000 UTC "+queriestest.ID(601)+" dog bitten refused [gum_colour capillary_refill_s] [gum_colour capillary_refill_s]")
	none, err := nobody(t).PersonHurtCalls(ctx, scope)
	same(t, none, err, "")
}
