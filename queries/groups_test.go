package queries_test

import (
	"slices"
	"testing"
	"time"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

func TestAdviceGroups(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	for i, r := range []row{
		{"level": 1, "later_level": 4, "contacts": 2, "need_emergency": 1, "need_same_day": 1, "route": 2, "local_hour": 7, "weekday": 6, "complaint": "fits"},
		{"level": 4, "need_emergency": 1, "need_same_day": 1, "route": 1, "local_hour": 8, "weekday": 5, "species": nil, "complaint": "fits"},
		{"level": 1, "local_hour": 18, "weekday": 1},
		{"level": 1, "local_hour": 23, "weekday": 7},
	} {
		r["n"], r["started_at"] = i, day(6, 1)
		queriestest.Case(t, db, meta, r)
	}
	queriestest.Case(t, db, meta, row{"n": 10, "started_at": day(7, 20), "local_hour": 12}) // too young
	got, err := d.AdviceGroups(ctx, scope)
	got = slices.DeleteFunc(got, func(r queries.AdviceGroupsRow) bool { return r.Property == "site" })
	// property value level later emergency same_day route n
	same(t, got, err, `
		complaint  1 0 -1 -1 0 2
		complaint fits 1 4 1 1 2 1
		complaint fits 4 0 1 1 1 1
		contact one_contact 1 0 -1 -1 0 2
		contact one_contact 4 0 1 1 1 1
		contact several_contacts 1 4 1 1 2 1
		hours day 4 0 1 1 1 1
		hours evening 1 0 -1 -1 0 1
		hours night 1 0 -1 -1 0 1
		hours night 1 4 1 1 2 1
		species  4 0 1 1 1 1
		species dog 1 0 -1 -1 0 2
		species dog 1 4 1 1 2 1
		week weekday 1 0 -1 -1 0 1
		week weekday 4 0 1 1 1 1
		week weekend 1 0 -1 -1 0 1
		week weekend 1 4 1 1 2 1
	`)
	none, err := nobody(t).AdviceGroups(ctx, scope)
	same(t, none, err, "")
}

func TestLevelsApart(t *testing.T) {
	d, _ := line(t)
	got, err := d.LevelsApart(ctx, scope)
	// Of 1 to 14 only 5 was told home care and was an emergency; 7 was one level short.
	same(t, got, err, "00000000-0000-0000-0000-000000000105 2026-06-05 09:30:00 +0000 UTC south dog 1 4 2 died true")
	none, err := nobody(t).LevelsApart(ctx, scope)
	same(t, none, err, "")
}

func TestUnitCounts(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	a := queriestest.ID(601)
	for i, r := range []row{
		{"advisor": a, "level": 3, "rule_level": 1, "safety_net": true},
		{"advisor": a, "level": 3, "rule_level": 1, "safety_net": true, "site": "south"},
		{"advisor": a, "level": 1, "rule_level": 4, "safety_net": false},
		{"advisor": nil, "level": 0, "rule_level": 0, "site": nil},
	} {
		r["n"], r["started_at"] = i, day(6, 1)
		queriestest.Case(t, db, meta, r)
	}
	got, err := d.UnitCounts(ctx, scope)
	same(t, got, err, `
		advisor  0 0 -1 1
		advisor 00000000-0000-0000-0000-000000000601 1 4 0 1
		advisor 00000000-0000-0000-0000-000000000601 3 1 1 2
		site  0 0 -1 1
		site north 1 4 0 1
		site north 3 1 1 1
		site south 3 1 1 1
	`)
	none, err := nobody(t).UnitCounts(ctx, scope)
	same(t, none, err, "")
}

func TestDefinitionPairs(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	for i, r := range []row{
		{"level": 4, "need_emergency": 1, "need_same_day": 1},
		{"level": 4, "need_emergency": 1, "need_same_day": 1},
		{"level": 1, "need_emergency": 0, "need_same_day": 1},
		{"level": 1},
		{"level": 1, "started_at": day(7, 20)}, // too young
	} {
		r["n"] = i
		if r["started_at"] == nil {
			r["started_at"] = day(6, 1)
		}
		queriestest.Case(t, db, meta, r)
	}
	// The first definition did not count the emergency of 1 and knew nothing of 2.
	for _, s := range []string{
		"INSERT INTO stored_cases SELECT * FROM cases",
		"UPDATE stored_cases SET need_emergency = 0 WHERE episode = '" + queriestest.ID(1) + "'",
		"UPDATE stored_cases SET need_emergency = -1, need_same_day = -1 WHERE episode = '" + queriestest.ID(2) + "'",
	} {
		if _, err := db.Exec(s); err != nil {
			t.Fatal(err)
		}
	}
	got, err := d.DefinitionPairs(ctx, scope)
	// level, first emergency and same day, second emergency and same day, n
	same(t, got, err, `
		1 -1 -1 -1 -1 1
		1 -1 -1 0 1 1
		4 0 1 1 1 1
		4 1 1 1 1 1
	`)
	none, err := nobody(t).DefinitionPairs(ctx, scope)
	same(t, none, err, "")
}

func TestRareMisses(t *testing.T) {
	d, db := line(t)
	queriestest.Case(t, db, meta, row{"n": 20, "started_at": day(6, 3), "level": 3, "need_emergency": 1, "died": true}) // told same day: no death after home care
	queriestest.Case(t, db, meta, row{"n": 21, "started_at": day(6, 4), "level": 4, "need_emergency": 1, "died": true}) // sent at once
	queriestest.Case(t, db, meta, row{"n": 22, "started_at": day(6, 4), "level": 0, "need_emergency": 1, "died": true}) // no advice on record
	got, err := d.RareMisses(ctx, scope, 2)
	same(t, got, err, `
		death 2026-06-05 09:30:00 +0000 UTC
		emergency 2026-06-03 09:30:00 +0000 UTC
		emergency 2026-06-05 09:30:00 +0000 UTC
	`)
	fewer, err := d.RareMisses(ctx, scope, 1)
	same(t, fewer, err, `
		death 2026-06-05 09:30:00 +0000 UTC
	`)
	none, err := nobody(t).RareMisses(ctx, scope, 2)
	same(t, none, err, "")
}

func TestFlagPatterns(t *testing.T) {
	d, _ := line(t)
	got, err := d.FlagPatterns(ctx, scope)
	// flags, level, emergency, same day, mature, n
	same(t, got, err, `
		[] 0 -1 -1 true 1   // 13
		[] 1 -1 -1 false 1  // 10
		[] 1 -1 -1 true 2   // 8, 14
		[] 1 0 0 true 1     // 6
		[] 2 0 1 true 1     // 7
		[] 3 -1 -1 true 1   // 4
		[] 3 0 0 false 1    // 11
		[0] 1 1 1 true 1    // 5
		[0] 4 1 1 true 2    // 1, 9
		[0 1] 4 1 1 true 1  // 2
		[2] 3 0 0 true 1    // 3
	`)
	none, err := nobody(t).FlagPatterns(ctx, scope)
	same(t, none, err, "")
}

// timed are checks of two contacts of one episode and of two other calls.
func timed(t *testing.T) *queries.DB {
	t.Helper()
	d, db := queriestest.Open(t, meta)
	at := func(minute int) time.Time { return day(6, 1).Add(time.Duration(minute) * time.Minute) }
	first, further := queriestest.ID(1), queriestest.ID(2)
	queriestest.Insert(t, db, "calls", row{"call": first, "episode": first, "episode_month": 202606, "started_at": at(0), "ended_at": at(6)})
	queriestest.Insert(t, db, "calls", row{"call": further, "episode": first, "episode_month": 202606, "started_at": at(90), "ended_at": at(99)})
	for i, r := range []row{
		{"call": first, "finding": "gum_colour", "state": "done", "asked_at": at(0)},                     // until the next, 1 min
		{"call": first, "finding": "capillary_refill_s", "state": "done", "asked_at": at(1)},             // 3 min
		{"call": first, "finding": "breathing_effort", "state": "not_asked", "asked_at": at(3)},          // takes no time
		{"call": first, "finding": "gum_colour", "state": "not_possible", "asked_at": at(4)},             // until the end, 2 min
		{"call": first, "finding": "gum_colour", "state": "done", "asked_at": at(60), "observer": "vet"}, // the vet's own
		{"call": further, "finding": "gum_colour", "state": "done", "asked_at": at(90)},                  // not the first contact
		{"call": queriestest.ID(3), "finding": "belly", "state": "done", "asked_at": nil},                // no time on record
		{"call": queriestest.ID(4), "finding": "belly", "state": "done", "asked_at": at(100)},            // lasts beyond an hour
		{"call": queriestest.ID(4), "finding": "eyes", "state": "done", "asked_at": at(0)},               // ends before it began
	} {
		r["seq"], r["episode_month"] = i, 202606
		queriestest.Insert(t, db, "checks", r)
	}
	queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(3), "episode": queriestest.ID(3), "episode_month": 202606, "ended_at": at(5)})
	queriestest.Insert(t, db, "calls", row{"call": queriestest.ID(4), "episode": queriestest.ID(4), "episode_month": 202606, "ended_at": at(-5)})
	return d
}

func TestCheckSeconds(t *testing.T) {
	d := timed(t)
	got, err := d.CheckSeconds(ctx, scope)
	// finding, asked, timed, seconds
	same(t, got, err, `
		belly 2 0 0
		capillary_refill_s 1 1 180
		eyes 1 0 0
		gum_colour 2 2 180
	`)
	none, err := nobody(t).CheckSeconds(ctx, scope)
	same(t, none, err, "")
}
