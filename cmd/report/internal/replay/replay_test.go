package replay

import (
	"context"
	"fmt"
	"maps"
	"strings"
	"testing"
	"time"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/pipeline/criteria"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

const rulesText = `
ruleset: %s
title: T
owner: O
reason: R
effective: 2026-01-01
status: for tests
otherwise: home_care
flags:
  - {id: collapse, title: C, why: W, demands: %s, when_unknown: raise, all: [{finding: collapse, is: [yes]}]}
  - {id: fast_cat, title: F, why: W, demands: same_day, when_unknown: leave, species: [cat], all: [{finding: breathing_rate, at_least: %d}]}
`

func program(t *testing.T, id, demands string, breaths int) *rules.Program {
	t.Helper()
	set, err := rules.Parse(id+".yaml", fmt.Appendf(nil, rulesText, id, demands, breaths))
	if err != nil {
		t.Fatal(err)
	}
	p, err := rules.Compile(set, findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// line is thirty days of June, on each of which four calls come, so that figures
// are counted by eye. In force: collapse is an emergency, cats from 60 breaths the
// same day. Proposed (mend): cats from 40; (harm): collapse the same day only.
//
//	day's call  animal  breaths, collapse  advice     known to have needed, found by
//	1           cat     70                 same day   same day (visit)
//	2           cat     50                 home       same day on days 1 to 10 (follow-up), nothing on 11 to 20, unknown after
//	3           dog     collapsed          emergency  at once on days 1 to 15, the same day after (visit)
//	4           rabbit  nothing wrong      soon       nothing (follow-up) on days 1 to 20, unknown after; on day 30 nothing was assessed
func line(t *testing.T) *queries.DB {
	t.Helper()
	meta := queries.Describe(findings.Default(), program(t, "now_1", "emergency", 60).Set)
	meta.Strata, meta.Collapse, meta.Window = []string{"species"}, []string{"species"}, 72*time.Hour
	meta.DataCut = time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)
	d, db := queriestest.Open(t, meta)
	n := 0
	add := func(day int, row queriestest.Row) {
		n++
		row["n"], row["started_at"] = n, time.Date(2026, 6, day, 9+n%4, 0, 0, 0, time.UTC)
		row["local_hour"], row["age_months"] = 9+n%4, 24
		queriestest.Case(t, db, meta, row)
	}
	for day := 1; day <= 30; day++ {
		add(day, queriestest.Row{"species": "cat", "flags": "-+", "f_collapse": 1, "f_breathing_rate": 70, "rule_low": 3, "rule_level": 3, "rule_high": 3,
			"level": 3, "route": 1, "need_emergency": 0, "need_same_day": 1})
		cat := queriestest.Row{"species": "cat", "flags": "--", "f_collapse": 1, "f_breathing_rate": 50, "level": 1}
		if day <= 20 {
			cat["route"], cat["need_emergency"], cat["need_same_day"] = 3, 0, 0
			if day <= 10 {
				cat["need_same_day"] = 1
			}
		}
		add(day, cat)
		dog := queriestest.Row{"species": "dog", "flags": "+-", "f_collapse": 2, "rule_low": 4, "rule_level": 4, "rule_high": 4, "level": 4, "route": 1, "need_emergency": 0, "need_same_day": 1}
		if day <= 15 {
			dog["need_emergency"] = 1
		}
		add(day, dog)
		rabbit := queriestest.Row{"species": "rabbit", "flags": "--", "f_collapse": 1, "level": 2}
		if day <= 20 {
			rabbit["route"], rabbit["need_emergency"], rabbit["need_same_day"] = 4, 0, 0
		}
		if day == 30 {
			rabbit["f_collapse"], rabbit["flags"], rabbit["rule_low"], rabbit["rule_level"], rabbit["rule_high"] = -1, "?-", 0, 0, 0
		}
		add(day, rabbit)
	}
	return d
}

func build(t *testing.T, d *queries.DB, proposed *rules.Program, judge string) (*Report, error) {
	t.Helper()
	opt := Options{Review: review.Options{Confidence: 0.95, Lag: 24 * time.Hour, Draws: 500}, From: 202606, To: 202606, Proposed: proposed}
	if judge != "" {
		c, err := criteria.Parse("c.yaml", []byte("criteria: c\ntitle: T\nowner: O\nreason: R\nfixed_on: 2026-01-01\njudged: rules_followed\n"+judge))
		if err != nil {
			t.Fatal(err)
		}
		opt.Criteria = c
	}
	return Build(context.Background(), d, opt)
}

func must(t *testing.T, d *queries.DB, proposed *rules.Program, judge string) *Report {
	t.Helper()
	r, err := build(t, d, proposed, judge)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestMend(t *testing.T) {
	r := must(t, line(t), program(t, "mend_1", "emergency", 40), "")
	m := r.Moves
	if m.Calls != 120 || m.Up != 30 || m.Down != 0 || m.Rows[1].To[3] != 30 || m.Rows[0].To[0] != 1 || m.Rows[3].Total != 30 {
		t.Errorf("moves %+v", m)
	}
	if o := m.Outcomes[0]; o.Needed != (Moved{70, 10, 0}) || o.NotNeeded != (Moved{30, 10, 0}) {
		t.Errorf("by outcome %+v", o)
	}
	c := r.Ways[0].Cuts[0]
	if c.OldSent != 60 || c.NewSent != 90 || c.Up != 30 || c.Down != 0 || *c.ExtraPerDay.Estimate != 1 || *c.ExtraPer1000.Estimate != 250 {
		t.Errorf("sent %+v", c)
	}
	if c.Needed != (Pair{60, 10, 0, 0}) || c.NotNeeded != (Pair{0, 10, 0, 20}) || c.Unverified != 20 || c.UpKnown != 20 {
		t.Errorf("pairs %+v %+v", c.Needed, c.NotNeeded)
	}
	// Half of the twenty followed up were in need, so five of the ten others are
	// expected to: 60 of 75 in need were sent in before, all would be.
	for name, x := range map[string]struct {
		got  review.Figure
		want float64
	}{
		"gained": {c.Gained.Number, 15}, "extra": {c.Extra.Number, 15}, "for each caught": {c.ExtraPerCaught, 1}, "sensitivity before": {c.Corrected.OldSensitivity, 0.8},
		"sensitivity": {c.Corrected.NewSensitivity, 1}, "difference": {c.Corrected.SensitivityDifference, 0.2}, "naive": {c.Naive.SensitivityDifference, rounded(10.0 / 70)},
		"per 1,000": {c.Gained.Per1000, 125},
		// Worth for 1,000 calls at one in ten: 15 found less 15/9, of 120 calls.
		"worth": {c.Worth[2].Difference, rounded(1000.0 / 120 * (15 - 15.0/9))},
	} {
		if !x.got.Estimable() || *x.got.Estimate-x.want > 1e-6 || x.want-*x.got.Estimate > 1e-6 {
			t.Errorf("%s: %+v, want %v", name, x.got, x.want)
		}
	}
	if *c.Gained.Range.Low != 10 || *c.Gained.Range.High != 20 {
		t.Errorf("gained lies within %v to %v, want 10 to 20", *c.Gained.Range.Low, *c.Gained.Range.High)
	}
	if u := r.Unknowns[0]; u.Up.Calls != 30 || u.Up.Verified != 20 || u.Up.Needed != 10 || u.Up.OnUnknown != 0 || u.Down.Calls != 0 {
		t.Errorf("unknowns %+v", u)
	}
	if len(r.Cases.Missed) != 0 || r.Cases.Totals["caught"] != 10 || len(r.Cases.Caught) != 10 || r.Cases.Caught[0].NewFlags[0] != "fast_cat" {
		t.Errorf("cases %+v", r.Cases.Totals)
	}
	if l := r.Workload.Sites[0]; l.Dates != 30 || l.Old != 2 || l.New != 3 || l.NewBusiest != 3 || l.Appointments != nil {
		t.Errorf("workload %+v", l)
	}
	if r.Verdict != nil || len(r.Signatures) == 0 || r.Record.Changes == nil {
		t.Error("a record without criteria has no verdict, but a place to sign")
	}
	// The raise of the advisor who sent nobody in is kept, so nothing differs.
	if k := r.Ways[1].Cuts[0]; k.Up != 30 || r.Ways[1].Raised != 29+1 || r.Ways[1].Lowered != 0 {
		t.Errorf("raises kept: %+v, raised %d", k.Up, r.Ways[1].Raised)
	}
}

func TestHarmAndVerdict(t *testing.T) {
	d, harm, mend := line(t), program(t, "harm_1", "same_day", 60), program(t, "mend_1", "emergency", 40)
	r := must(t, d, harm, "")
	c := r.Ways[0].Cuts[1]
	if c.Down != 30 || c.Needed != (Pair{0, 0, 15, 0}) || *c.Lost.Number.Estimate != 15 || len(r.Cases.Missed) != 15 || r.Cases.Missed[0].Cuts != "emergency" ||
		strings.Join(r.Cases.Missed[0].OldFlags, " ") != "collapse" || r.Cases.Totals["spared"] != 15 {
		t.Errorf("%+v, %d missed", c.Needed, len(r.Cases.Missed))
	}
	kinds := []string{}
	for _, b := range r.CannotShow {
		kinds = append(kinds, b.Kind)
	}
	if strings.Join(kinds, " ") != "stopped_early conduct" {
		t.Errorf("cannot show %v", kinds)
	}
	for name, x := range map[string]struct {
		proposed *rules.Program
		criteria string
		want     string
		answer   string // of the first criterion
		months   bool
	}{
		"a proposal that only adds": {mend, "accuracy: {same_day: {sensitivity_loss: 0.01}}", Met, Met, false},
		"a floor reached":           {mend, "accuracy: {same_day: {sensitivity_floor: 0.7}}", Met, Met, false},
		"a floor in doubt":          {mend, "accuracy: {same_day: {sensitivity_floor: 0.99}}", CannotTell, CannotTell, true},
		"a loss":                    {harm, "accuracy: {emergency: {sensitivity_loss: 0.1}}", NotMet, NotMet, false},
		"too little evidence":       {mend, "evidence: {calls: 1000}\nworkload: {extra_referrals_a_day: 5}", CannotTell, CannotTell, true},
		"too many referrals":        {mend, "workload: {extra_referrals_a_day: 0.5}", NotMet, NotMet, false},
		"a species harmed":          {harm, "subgroups: {properties: species, sensitivity_loss: 0.1}", NotMet, NotMet, false},
		"groups too small":          {harm, "subgroups: {properties: species, sensitivity_loss: 0.1, least_in_need: 50}", NotMet, Met, false},
	} {
		t.Run(name, func(t *testing.T) {
			r := must(t, d, x.proposed, x.criteria)
			j := r.Verdict.Judged[0]
			if r.Verdict.Answer != x.want || j.Answer != x.answer || x.months != (j.Months != nil) {
				t.Errorf("%s: %+v", r.Verdict.Headline, j)
			}
			if x.proposed == harm {
				if last := r.Verdict.Judged[len(r.Verdict.Judged)-1]; last.Answer != NotMet || last.Found != "0 of 15" {
					t.Errorf("newly missed cases wait for a reason: %+v", last)
				}
			}
		})
	}
	reviewed := "accuracy: {same_day: {sensitivity_loss: 0.01}}\nreviewed:\n"
	for _, m := range r.Cases.Missed {
		reviewed += "  - {episode: " + m.Episode + ", reviewer: vet, registration: no. 1, date: 2026-07-01, reason: read}\n"
	}
	if v := must(t, d, harm, reviewed).Verdict; v.Answer != Met {
		t.Errorf("with all reasons given: %s", v.Headline)
	}
	if _, err := build(t, d, mend, reviewed); err == nil || !strings.Contains(err.Error(), "c.yaml:9: reviewed: expected an episode that this proposal newly misses") {
		t.Errorf("reasons for another proposal: %v", err)
	}
}

// Whoever falls below a cut is in need there, not in need, or of unknown need, and
// an animal known to be missed at one cut is not counted as unknown at the other.
func TestBelowACutWithNeedUnknown(t *testing.T) {
	meta := queries.Describe(findings.Default(), program(t, "now_1", "emergency", 60).Set)
	meta.DataCut = time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)
	d, db := queriestest.Open(t, meta)
	cat := queriestest.Row{"species": "cat", "flags": "-+", "f_collapse": 1, "f_breathing_rate": 70, "rule_low": 3, "rule_level": 3, "rule_high": 3, "level": 3}
	dog := queriestest.Row{"species": "dog", "flags": "+-", "f_collapse": 2, "rule_low": 4, "rule_level": 4, "rule_high": 4, "level": 4}
	for n, x := range []struct {
		row        queriestest.Row
		route      int
		atOnce, by any // need for emergency care and for care on the same day
	}{
		{cat, 1, 0, 1},   // newly missed
		{cat, 1, 0, 0},   // newly spared
		{cat, 0, -1, -1}, // unknown
		{cat, 0, -1, -1}, // unknown
		{dog, 1, 1, 1},   // falls from emergency to the same day: missed
		{dog, 1, -1, 1},  // likewise, and only the need for the same day is known: unknown
		{dog, 1, 0, 1},   // likewise: spared
	} {
		row := maps.Clone(x.row)
		row["n"], row["started_at"], row["local_hour"] = n+1, time.Date(2026, 6, 1+n, 12, 0, 0, 0, time.UTC), 12
		if x.route > 0 {
			row["route"], row["need_emergency"], row["need_same_day"] = x.route, x.atOnce, x.by
		}
		queriestest.Case(t, db, meta, row)
	}
	c := must(t, d, program(t, "less_1", "same_day", 80), "").Cases
	if c.Totals["missed"] != 2 || len(c.Missed) != 2 || c.Totals["spared"] != 2 || c.BelowUnknown != 3 {
		t.Errorf("%v, %d of unknown need", c.Totals, c.BelowUnknown)
	}
}

// Without rules in force there is nothing to compare with, and the error says so.
func TestNothingToCompareWith(t *testing.T) {
	d, _ := queriestest.Open(t, queries.Meta{Dictionary: findings.Default()})
	if _, err := build(t, d, program(t, "mend_1", "emergency", 40), ""); err == nil || !strings.Contains(err.Error(), "name them with --current") {
		t.Errorf("%v", err)
	}
}
