package queries_test

import (
	"testing"

	"hindcheck/queries/queriestest"
)

func TestAuditFrame(t *testing.T) {
	d, db := line(t)
	for i, o := range []row{
		{"episode": queriestest.ID(3), "source": "vet", "route": "advised_visit", "recorded_at": day(6, 4), "disposition": "sent_home"},
		{"episode": queriestest.ID(4), "source": "vet", "route": "advised_visit", "recorded_at": day(6, 5), "disposition": "did_not_attend"},
		{"episode": queriestest.ID(5), "source": "vet", "route": "own_decision", "recorded_at": day(6, 20), "disposition": "died"}, // written down after the draw
		{"episode": queriestest.ID(6), "source": "owner_follow_up", "route": "call_back", "recorded_at": day(6, 9), "responded": true},
		{"episode": queriestest.ID(7), "source": "owner_follow_up", "route": "audit", "recorded_at": day(6, 8), "responded": false},
		{"episode": queriestest.ID(8), "source": "owner_follow_up", "route": "call_back", "recorded_at": day(6, 9), "disposition": "lost", "responded": false},
		{"episode": queriestest.ID(9), "source": "owner_follow_up", "route": "audit", "recorded_at": day(6, 16), "responded": true},
		{"episode": queriestest.ID(8), "source": "panel", "route": "case_review", "recorded_at": day(6, 9)},
	} {
		o["outcome"], o["seen_at"] = queriestest.ID(900+i), o["recorded_at"]
		queriestest.Insert(t, db, "outcomes", o)
	}
	got, err := d.AuditFrame(ctx, day(6, 3), day(6, 11), day(6, 15))
	if err != nil {
		t.Fatal(err)
	}
	var have []string
	for _, r := range got {
		s := r.Episode[34:] + " " + r.Standing
		if r.NoShow {
			s += " no_show"
		}
		if r.DrawnSince {
			s += " since"
		}
		have = append(have, s)
	}
	// 13 has no advice, and its day is not before the end.
	want := []string{"03 seen", "04 eligible no_show", "05 eligible", "06 followed_up", "07 drawn", "08 eligible", "09 eligible since"}
	if len(have) != len(want) {
		t.Fatalf("have %v", have)
	}
	for i := range want {
		if have[i] != want[i] {
			t.Errorf("have %q, want %q", have[i], want[i])
		}
	}
	none, err := nobody(t).AuditFrame(ctx, day(6, 3), day(6, 11), day(6, 15))
	same(t, none, err, "")
}

func TestAuditAnswers(t *testing.T) {
	d, db := line(t)
	if _, err := db.Exec(`UPDATE cases SET audit_p = 0.25 WHERE audit_selected`); err != nil {
		t.Fatal(err)
	}
	got, err := d.AuditAnswers(ctx, scope, 3)
	if err != nil {
		t.Fatal(err)
	}
	type key struct {
		level           int8
		seen, drawn, ok bool
		need            int8
	}
	have := map[key]int64{}
	for _, r := range got {
		have[key{r.Level, r.Seen, r.Drawn, r.Answered, r.Need}] = r.N
		if r.Drawn != (r.Probability != nil) || r.Drawn && *r.Probability != 0.25 {
			t.Errorf("probability of %+v", r)
		}
	}
	want := map[key]int64{
		{1, true, false, false, 1}:   1, // 5
		{1, false, false, false, 0}:  1, // 6: call-back, not drawn
		{1, false, true, false, -1}:  1, // 8: drawn, silent
		{1, false, false, false, -1}: 1, // 14
		{2, false, true, true, 1}:    1, // 7
		{3, true, false, false, 0}:   1, // 3
		{3, false, false, false, -1}: 1, // 4
		{4, true, false, false, 1}:   3, // 1, 2, 9
	}
	if len(have) != len(want) {
		t.Errorf("have %v", have)
	}
	for k, n := range want {
		if have[k] != n {
			t.Errorf("%+v: %d, want %d", k, have[k], n)
		}
	}
	none, err := nobody(t).AuditAnswers(ctx, scope, 3)
	same(t, none, err, "")
}
