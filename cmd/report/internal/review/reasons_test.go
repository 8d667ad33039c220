package review

import (
	"context"
	"database/sql"
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

// The rules of the hand-made cases: one check a flag, all but the first wait
// for an answer.
const caseRules = `
ruleset: cases_1
title: hand-made
owner: nobody
reason: a test
effective: 2024-01-01
status: test only
otherwise: home_care
flags:
  - {id: collapse, title: Collapsed, why: x, demands: emergency, when_unknown: raise, all: [{finding: collapse, is: [yes]}]}
  - {id: slow_refill, title: Slow refill, why: x, demands: same_day, when_unknown: leave, all: [{finding: capillary_refill_s, at_least: 2}]}
  - {id: white_gums, title: White gums, why: x, demands: same_day, when_unknown: leave, all: [{finding: gum_colour, is: [white]}]}
  - {id: fast_breathing, title: Fast breathing, why: x, demands: same_day, when_unknown: leave, all: [{finding: breathing_rate, at_least: 40}]}
  - {id: hot, title: Hot, why: x, demands: same_day, when_unknown: leave, all: [{finding: temperature_c, above: 40.5}]}
  - {id: bleeds, title: Bleeds, why: x, demands: emergency, when_unknown: leave, all: [{finding: bleeding, is: [steady, spurting]}]}
  - {id: cat_only, title: Cats, why: x, demands: emergency, when_unknown: leave, species: [cat], all: [{finding: mouth_breathing, is: [at_rest]}]}
  - {id: dull, title: Dull, why: x, demands: soon, when_unknown: leave, all: [{finding: responsiveness, is: [dull]}]}
`

// well are the readings of an animal on which no flag fires.
var well = queriestest.Row{"f_collapse": 1, "f_capillary_refill_s": 10, "f_gum_colour": 1, "f_breathing_rate": 20, "f_temperature_c": 385, "f_bleeding": 1}

// caseLine is a line whose episode 1 is a miss; others make the same checks
// usual.
type caseLine struct {
	t    *testing.T
	db   *sql.DB
	d    *queries.DB
	meta queries.Meta
}

var began = time.Date(2026, 6, 10, 9, 0, 0, 0, time.UTC)

func newCaseLine(t *testing.T, more queriestest.Row) caseLine {
	t.Helper()
	dict := findings.Default()
	set, err := rules.Parse("cases.yaml", []byte(caseRules))
	if err != nil {
		t.Fatal(err)
	}
	meta := queries.Describe(dict, set)
	meta.Window, meta.DataCut = 72*time.Hour, time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)
	d, db := queriestest.Open(t, meta)
	l := caseLine{t, db, d, meta}
	row := queriestest.Row{"n": 1, "complaint": "lameness", "started_at": began, "level": 1, "need_same_day": 1, "need_emergency": 0, "route": 2, "vet_level": 3,
		"attended": 1, "outcome_minutes": 600, "flags": "--------"}
	for _, m := range []queriestest.Row{well, more} {
		for k, v := range m {
			row[k] = v
		}
	}
	queriestest.Case(t, db, meta, row)
	for n := 2; n <= 4; n++ {
		other := queriestest.Row{"n": n, "complaint": "lameness", "started_at": began.AddDate(0, 0, n), "flags": "--------"}
		for k, v := range well {
			other[k] = v
		}
		queriestest.Case(t, db, meta, other)
	}
	l.call(101, 101, "first", 0)
	return l
}

func (l caseLine) call(call, contact int, kind string, hours float64) {
	queriestest.Insert(l.t, l.db, "calls", queriestest.Row{"call": queriestest.ID(call), "contact": queriestest.ID(contact), "episode": queriestest.ID(1), "contact_type": "clinical",
		"contact_kind": kind, "episode_month": 202606, "started_at": began.Add(time.Duration(hours * float64(time.Hour))), "level": "home_care", "safety_net": false})
}

// vet adds a reading of temperature so many hours after the call.
func (l caseLine) vet(celsius, hours float64, treated bool) {
	at := began.Add(time.Duration(hours * float64(time.Hour)))
	queriestest.Insert(l.t, l.db, "checks", queriestest.Row{"call": queriestest.ID(101), "finding": "temperature_c", "state": "done", "observer": "vet",
		"value_number": celsius, "asked_at": at, "seq": 1, "episode_month": 202606})
	queriestest.Insert(l.t, l.db, "outcomes", queriestest.Row{"outcome": queriestest.ID(900), "call": queriestest.ID(101), "episode": queriestest.ID(1), "episode_month": 202606,
		"source": "vet", "route": "own_decision", "seen_at": at, "treatment_begun": treated, "disposition": "admitted"})
}

// again adds a re-contact at which the animal bleeds.
func (l caseLine) again() {
	l.call(102, 102, "re_contact", 6)
	queriestest.Insert(l.t, l.db, "checks", queriestest.Row{"call": queriestest.ID(102), "finding": "bleeding", "state": "done", "observer": "owner",
		"value_code": "spurting", "seq": 1, "episode_month": 202606, "asked_at": began.Add(6 * time.Hour)})
}

func (l caseLine) review(month int) *Review {
	l.t.Helper()
	b, err := newBuilder(context.Background(), l.d, Options{Month: month, Confidence: 0.95, Lag: 45 * 24 * time.Hour})
	if err != nil {
		l.t.Fatal(err)
	}
	r := &Review{}
	for _, fill := range []func(*Review) error{b.fillTests, b.fillWarnings, b.fillStayedAway, b.fillMissed, b.fillNeedless, b.fillPanel, b.fillFollowUp, b.fillSafety, b.fillHurt} {
		if err := fill(r); err != nil {
			l.t.Fatal(err)
		}
	}
	return r
}

func (l caseLine) only() Case {
	l.t.Helper()
	r := l.review(202606)
	if len(r.Missed.InMonth) != 1 {
		l.t.Fatalf("%d missed cases, want 1", len(r.Missed.InMonth))
	}
	for _, x := range r.Missed.Reasons {
		want := int64(0)
		if x.Reason == r.Missed.InMonth[0].Reason {
			want = 1
		}
		if x.InMonth != want || x.InPeriod != want {
			l.t.Errorf("reason %s is counted %d and %d times", x.Reason, x.InMonth, x.InPeriod)
		}
	}
	return r.Missed.InMonth[0]
}

// One hand-made case for each reason.
func TestReasons(t *testing.T) {
	for name, c := range map[string]struct {
		row    queriestest.Row
		add    func(caseLine)
		reason string
		says   string
	}{
		"told to come and did not":                   {row: queriestest.Row{"level": 2, "attended": 0}, reason: "not_followed", says: "not attending"},
		"advised the same day, came late":            {row: queriestest.Row{"level": 3, "need_emergency": 1, "outcome_minutes": 25 * 60}, reason: "not_followed", says: "25 hours later"},
		"home care and did not come":                 {row: queriestest.Row{"attended": 0}, reason: "no_flag"},
		"all ruled out":                              {reason: "no_flag"},
		"asks only what the line never puts":         {row: queriestest.Row{"f_responsiveness": -1, "f_mouth_breathing": -1}, reason: "no_flag"},
		"an emergency without a flag":                {row: queriestest.Row{"need_emergency": 1, "f_gum_colour": -1}, reason: "no_flag"},
		"not asked":                                  {row: queriestest.Row{"f_gum_colour": -1}, reason: "not_asked", says: "White gums: Gum colour not asked"},
		"stopped early":                              {row: queriestest.Row{"f_gum_colour": -4}, reason: "not_asked", says: "stopped early"},
		"not possible":                               {row: queriestest.Row{"f_gum_colour": -2}, reason: "not_possible", says: "not possible"},
		"declined":                                   {row: queriestest.Row{"f_gum_colour": -3}, reason: "not_possible", says: "declined"},
		"half a second short":                        {row: queriestest.Row{"f_capillary_refill_s": 15}, reason: "just_short", says: "0.5 s short"},
		"more than half a second short":              {row: queriestest.Row{"f_capillary_refill_s": 14}, reason: "no_flag"},
		"advised below a flag":                       {row: queriestest.Row{"f_collapse": 2}, reason: "below_rule", says: "Collapsed"},
		"advised below an open question that counts": {row: queriestest.Row{"f_collapse": -1}, reason: "below_rule", says: "open question"},
		"advised below the rules of the day":         {row: queriestest.Row{"recorded_rule_level": 3}, reason: "below_rule", says: "of the day"},
		"the vet read another sign at once":          {add: func(l caseLine) { l.vet(41, 3.5, false) }, reason: "sign_differed", says: "Hot, 3.5 hours"},
		"the vet read another sign later":            {add: func(l caseLine) { l.vet(41, 4.5, false) }, reason: "later_change", says: "Hot, 4.5 hours"},
		"the vet read another sign after treatment":  {add: func(l caseLine) { l.vet(41, 2, true) }, reason: "later_change"},
		"the vet read the same":                      {add: func(l caseLine) { l.vet(38.6, 2, false) }, reason: "no_flag"},
		"rang again, bleeding":                       {add: caseLine.again, reason: "later_change", says: "Bleeds, 6.0 hours"},
		"gums that cannot be read":                   {row: queriestest.Row{"f_gum_colour": 9}, reason: "undetermined", says: "White gums"},
	} {
		t.Run(name, func(t *testing.T) {
			l := newCaseLine(t, c.row)
			if c.add != nil {
				c.add(l)
			}
			got := l.only()
			if got.Reason != c.reason || !strings.Contains(strings.Join(got.Because, "; "), c.says) {
				t.Errorf("%s because %q; want %s with %q", got.Reason, got.Because, c.reason, c.says)
			}
		})
	}
}

// One case with everything: each reason hides the ones behind it, and taking
// it away shows the next.
func TestReasonsInOrder(t *testing.T) {
	row := queriestest.Row{"level": 2, "attended": 0, "f_gum_colour": -1, "f_capillary_refill_s": -2, "f_breathing_rate": 38}
	steps := []struct {
		reason string
		change queriestest.Row
		vet    bool
		again  bool
	}{
		{"not_followed", queriestest.Row{}, true, true},
		{"not_asked", queriestest.Row{"attended": 1}, true, true},
		{"not_possible", queriestest.Row{"f_gum_colour": 1}, true, true},
		{"just_short", queriestest.Row{"f_capillary_refill_s": 10}, true, true},
		{"below_rule", queriestest.Row{"f_breathing_rate": 20, "f_collapse": 2}, true, true},
		{"sign_differed", queriestest.Row{"f_collapse": 1}, true, true},
		{"later_change", queriestest.Row{}, false, true},
		{"no_flag", queriestest.Row{}, false, false},
	}
	for _, step := range steps {
		for k, v := range step.change {
			row[k] = v
		}
		l := newCaseLine(t, row)
		if step.vet {
			l.vet(41, 2, false)
		}
		if step.again {
			l.again()
		}
		if got := l.only(); got.Reason != step.reason {
			t.Errorf("%s because %q; want %s", got.Reason, got.Because, step.reason)
		}
	}
	var order []string
	for _, x := range reasons {
		order = append(order, x.Reason)
		if x.Label == "" || x.Definition == "" || x.Mend == "" {
			t.Errorf("reason %s is not written down", x.Reason)
		}
	}
	if !slices.Equal(order, codes.ReviewReasons.Words()) {
		t.Errorf("reasons are tried in the order %v, the records say %v", order, codes.ReviewReasons.Words())
	}
}

func TestNoRulesIsUndetermined(t *testing.T) {
	l := newCaseLine(t, nil)
	meta := l.meta
	meta.Rules, meta.Flags = nil, nil
	d, err := queries.New(l.db, meta)
	if err != nil {
		t.Fatal(err)
	}
	l.d = d
	if got := l.only(); got.Reason != "undetermined" || got.Because[0] != "no rules are in force" {
		t.Errorf("%s because %v", got.Reason, got.Because)
	}
}
