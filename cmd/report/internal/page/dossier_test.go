package page

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"hindcheck/cmd/report/internal/caution"
	"hindcheck/cmd/report/internal/replay"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/pipeline/criteria"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

const dossierRules = `
ruleset: %s
title: "<b>Cats</b> & dogs"
owner: lead nurse
reason: to be tested
effective: 2026-01-01
status: for tests
otherwise: home_care
flags:
  - {id: collapse, title: Collapsed, why: shock, demands: %s, when_unknown: raise, all: [{finding: collapse, is: [yes]}]}
  - {id: fast_cat, title: Cat breathes fast, why: chest, demands: same_day, when_unknown: leave, species: [cat], all: [{finding: breathing_rate, at_least: %d}]}
`

const dossierCriteria = `
criteria: c_1
title: T
owner: meeting
reason: R
fixed_on: 2026-01-01
judged: rules_followed
evidence: {months: 3, calls: 5}
accuracy:
  same_day: {sensitivity_floor: 0.5, sensitivity_loss: 0.02}
  emergency: {sensitivity_loss: 0.02}
subgroups: {properties: [species, age], sensitivity_loss: 0.05, least_in_need: 2}
workload: {extra_referrals_a_day: 1, extra_for_each_caught: 3}
`

// dossier replays a proposal on a small line: cats from forty breaths, collapse
// only on the same day.
func dossier(t *testing.T, n int, judged bool) *replay.Report {
	t.Helper()
	dict := findings.Default()
	set := func(id, demands string, breaths int) *rules.Program {
		s, err := rules.Parse(id+".yaml", fmt.Appendf(nil, dossierRules, id, demands, breaths))
		if err != nil {
			t.Fatal(err)
		}
		p, err := rules.Compile(s, dict)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	now := set("now_1", "emergency", 60)
	meta := queries.Describe(dict, now.Set)
	meta.Strata, meta.Collapse, meta.Window = []string{"site", "species"}, []string{"site", "species"}, 72*time.Hour
	meta.DataCut = time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)
	d, db := queriestest.Open(t, meta)
	for i := range n {
		row := queriestest.Row{"n": i + 1, "started_at": time.Date(2026, time.Month(5+i%3), 1+i%27, 9, 0, 0, 0, time.UTC), "local_hour": int8(i % 24), "site": []string{"north", "south"}[i%2],
			"flags": "--", "f_collapse": 1, "f_breathing_rate": 20 + i%60, "species": "cat", "age_months": i % 100, "rule_low": 1, "rule_level": 1, "rule_high": 1}
		if i%60 >= 40 {
			row["flags"], row["rule_low"], row["rule_level"], row["rule_high"], row["level"] = "-+", 3, 3, 3, 3
		}
		if i%9 == 0 {
			row["species"], row["f_collapse"], row["flags"] = "dog", 2, "+-"
			row["rule_low"], row["rule_level"], row["rule_high"], row["level"] = 4, 4, 4, 4
		}
		if i%3 > 0 {
			row["route"], row["need_same_day"], row["need_emergency"] = []int{1, 3, 4, 2}[i%4], b2i(i%60 > 25), b2i(i%9 == 0 && i%4 == 1)
		}
		queriestest.Case(t, db, meta, row)
	}
	opt := replay.Options{Review: review.Options{Confidence: 0.95, Draws: 300, Lag: 24 * time.Hour}, Proposed: set("next_1", "same_day", 40), Listed: 3}
	if judged {
		var err error
		if opt.Criteria, err = criteria.Parse("c.yaml", []byte(dossierCriteria)); err != nil {
			t.Fatal(err)
		}
		if opt.Appointments, err = criteria.ParseAppointments("a.yaml", []byte("appointments: a\ntitle: T\nowner: O\nsites: {north: {day: 1, night: 0}}")); err != nil {
			t.Fatal(err)
		}
	}
	r, err := replay.Build(context.Background(), d, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// Every number of a record stands in its JSON, at the path beside it, and text
// from a rules file stays text.
func TestEveryNumberOfARecordIsInTheJSON(t *testing.T) {
	for name, c := range map[string]struct {
		n      int
		judged bool
	}{"judged": {300, true}, "without criteria": {120, false}, "no calls": {0, true}, "one call": {1, true}} {
		t.Run(name, func(t *testing.T) {
			r := dossier(t, c.n, c.judged)
			var b bytes.Buffer
			if err := ReplayHTML(&b, r); err != nil {
				t.Fatal(err)
			}
			if strings.Contains(b.String(), "<b>Cats</b>") {
				t.Error("a title became markup")
			}
			doc, err := html.Parse(&b)
			if err != nil {
				t.Fatal(err)
			}
			data, err := json.Marshal(r)
			if err != nil {
				t.Fatal(err)
			}
			var tree any
			if err := json.Unmarshal(data, &tree); err != nil {
				t.Fatal(err)
			}
			ties := 0
			each(doc, func(n *html.Node) {
				path, ok := attr(n, "data-json")
				if !ok {
					return
				}
				ties++
				as, _ := attr(n, "data-as")
				value, ok := lookup(tree, path)
				if want := shown(value, as); !ok || content(n) != want {
					t.Errorf("%s: the page says %q, the JSON %v (%q)", path, content(n), value, want)
				}
			})
			if ties < 100 {
				t.Errorf("only %d ties", ties)
			}
			loose(t, doc)
		})
	}
}

func TestRecordTextAndCSV(t *testing.T) {
	r := dossier(t, 300, true)
	var b bytes.Buffer
	if err := ReplayText(&b, r); err != nil {
		t.Fatal(err)
	}
	for _, want := range append([]string{"Proposed rules next_1", "- collapse: demanded level lowered from emergency to same_day", "newly sent in / newly not",
		"What past calls cannot show:", r.Verdict.Headline}, caution.Lines...) {
		if !strings.Contains(strings.Join(strings.Fields(b.String()), " "), strings.Join(strings.Fields(want), " ")) {
			t.Errorf("the text lacks %q", want)
		}
	}
	b.Reset()
	if err := ReplayCSV(&b, r); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) < 100 {
		t.Errorf("%d rows, %v", len(rows), err)
	}
}
