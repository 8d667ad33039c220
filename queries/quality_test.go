package queries_test

import (
	"testing"
	"time"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

func TestReceived(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	for n, r := range []row{
		{"episode": queriestest.ID(0), "contact_type": "clinical"},
		{"episode": queriestest.ID(0), "contact_type": "clinical"},
		{"episode": queriestest.ID(2), "contact_type": "clinical"},
		{"contact_type": "test"},
		{"episode": queriestest.ID(4), "contact_type": "clinical", "episode_month": 202605},
	} {
		r["call"] = queriestest.ID(n)
		if r["episode_month"] == nil {
			r["episode_month"] = 202606
		}
		queriestest.Insert(t, db, "calls", r)
	}
	got, err := d.Received(ctx, scope)
	same(t, got, err, "clinical first 2 \n clinical further 1 \n test none 1")
	none, err := nobody(t).Received(ctx, scope)
	same(t, none, err, "")
}

func TestColumnFill(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	queriestest.Insert(t, db, "calls", row{"contact_type": "clinical", "episode_month": 202606, "site": "north", "level": "soon"})
	queriestest.Insert(t, db, "calls", row{"contact_type": "clinical", "episode_month": 202606, "site": "north"})
	queriestest.Insert(t, db, "calls", row{"contact_type": "test", "episode_month": 202606})
	queriestest.Insert(t, db, "checks", row{"state": "done", "episode_month": 202606, "value_code": "pink", "asked_at": day(6, 1)})
	queriestest.Insert(t, db, "checks", row{"state": "not_asked", "episode_month": 202606, "reason": "skip_logic"})
	queriestest.Insert(t, db, "outcomes", row{"source": "vet", "disposition": "euthanised", "episode_month": 202606, "practice": "a"})
	queriestest.Insert(t, db, "outcomes", row{"source": "owner_follow_up", "disposition": "sent_home", "episode_month": 202606})
	got, err := d.ColumnFill(ctx, scope)
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]queries.ColumnFillRow{}
	for _, r := range got {
		at[r.Record+" "+r.Column] = r
	}
	for key, want := range map[string][2]int64{
		"calls site": {2, 2}, "calls level": {1, 2}, "calls animal": {0, 2},
		"checks reading, of those done": {1, 1}, "checks reason, of those not done": {1, 1}, "checks asked_at, of those asked": {1, 1},
		"outcomes practice, of those by a vet": {1, 1}, "outcomes disposition": {2, 2},
		"outcomes euthanasia_reason, of those put to sleep": {0, 1},
	} {
		if r := at[key]; r.Filled != want[0] || r.N != want[1] || r.Month != 202606 {
			t.Errorf("%s: %+v, want %v", key, r, want)
		}
	}
	if _, ok := at["outcomes no_attend_reason, of those that did not go"]; ok || len(at) != 17+7+10 {
		t.Errorf("%d columns; nobody stayed away", len(at))
	}
	none, err := nobody(t).ColumnFill(ctx, scope)
	same(t, none, err, "")
}

func TestOutcomeDelays(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	ep := queriestest.ID(1)
	queriestest.Insert(t, db, "calls", row{"call": ep, "episode": ep, "episode_month": 202606, "started_at": day(6, 1)})
	hour := func(h int) time.Time { return day(6, 1).Add(time.Duration(h) * time.Hour) }
	for _, r := range []row{
		{"episode": ep, "source": "vet", "seen_at": hour(2), "recorded_at": hour(47)},
		{"episode": ep, "source": "vet", "seen_at": hour(25), "recorded_at": hour(49)},
		{"episode": ep, "source": "vet", "seen_at": hour(26)},
		{"source": "vet", "seen_at": hour(26)}, // belongs to no episode
	} {
		r["episode_month"] = 202606
		queriestest.Insert(t, db, "outcomes", r)
	}
	got, err := d.OutcomeDelays(ctx, scope)
	same(t, got, err, `
		202606 vet recorded -1 1
		202606 vet recorded 1 1
		202606 vet recorded 2 1
		202606 vet seen 0 1
		202606 vet seen 1 2
	`)
	none, err := nobody(t).OutcomeDelays(ctx, scope)
	same(t, none, err, "")
}

func TestOutcomeLinks(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	for _, r := range []row{
		{"practice": "a", "episode": queriestest.ID(1), "call": queriestest.ID(1), "match_score": 0.9},
		{"practice": "a", "episode": queriestest.ID(2), "match_score": 0.6},
		{"practice": "a"},
		{"practice": "a", "seen_at": day(5, 31)},
		{},
	} {
		r["source"] = "vet"
		if r["seen_at"] == nil {
			r["seen_at"] = day(6, 30)
		}
		queriestest.Insert(t, db, "outcomes", r)
	}
	got, err := d.OutcomeLinks(ctx, scope, 0.8)
	// practice source month n by_call by_animal scored doubtful
	same(t, got, err, "vet 202606 1 0 0 0 0 \n a vet 202606 3 1 1 2 1")
	none, err := nobody(t).OutcomeLinks(ctx, scope, 0.8)
	same(t, none, err, "")
}

func TestCodeShares(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	for i, r := range []row{
		{"level": 1, "f_gum_colour": 2, "complaint": "fits"},
		{"level": 1, "f_gum_colour": -2, "route": 1, "disposition": "admitted"},
		{"level": 3, "species": "cat", "started_at": day(7, 1), "route": 1},
	} {
		r["n"] = i
		if r["started_at"] == nil {
			r["started_at"] = day(6, 1)
		}
		queriestest.Case(t, db, meta, r)
	}
	got, err := d.CodeShares(ctx, scope)
	same(t, got, err, `
		complaint 202606  1
		complaint 202606 fits 1
		complaint 202607  1
		disposition 202606 admitted 1
		disposition 202607  1
		gum_colour 202606 2 1
		level 202606 1 2
		level 202607 3 1
		species 202606 dog 2
		species 202607 cat 1
	`)
	none, err := nobody(t).CodeShares(ctx, scope)
	same(t, none, err, "")
}

func TestRulesetMonths(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	for i, r := range []row{
		{"ruleset": "v1", "started_at": day(6, 1)}, {"ruleset": "v2", "started_at": day(6, 20)}, {"ruleset": "v1", "started_at": day(6, 21)}, {"started_at": day(7, 2)},
	} {
		r["n"] = i
		queriestest.Case(t, db, meta, r)
	}
	got, err := d.RulesetMonths(ctx, scope)
	same(t, got, err, `
		202606 v1 2026-06-01 09:30:00 +0000 UTC 2
		202606 v2 2026-06-20 09:30:00 +0000 UTC 1
		202607  2026-07-02 09:30:00 +0000 UTC 1
	`)
	none, err := nobody(t).RulesetMonths(ctx, scope)
	same(t, none, err, "")
}
