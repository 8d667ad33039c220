package thresholds

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

const rulesText = `# A remark that stays.
ruleset: small_1
title: T
owner: O
reason: R
effective: 2026-01-01
status: S
otherwise: home_care
flags:
  - {id: fast_cat, title: T, why: W, demands: same_day, when_unknown: leave, species: [cat], all: [{finding: breathing_rate, at_least: 60}]}
  - {id: refill, title: T, why: W, demands: emergency, when_unknown: leave, all: [{finding: capillary_refill_s, above: 3}]}
  - {id: hot_dog, title: T, why: W, demands: same_day, when_unknown: leave, species: [dog], all: [{finding: temperature_c, above: 40.0}]}
  - {id: cold_dog, title: T, why: W, demands: same_day, when_unknown: leave, species: [dog], all: [{finding: temperature_c, below: 37.5}]}
  - {id: pair, title: T, why: W, demands: emergency, when_unknown: leave, all: [{finding: heart_rate, above: 200}, {finding: collapse, is: [yes]}]}
`

// small makes a store of twelve months, from rows of a few words: each is n
// episodes alike in every month.
func small(t *testing.T, text string) (*queries.DB, *sql.DB) {
	t.Helper()
	set, err := rules.Parse("small.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	dict := findings.Default()
	meta := queries.Meta{RuleSet: set.ID, Rules: set, RulesText: []byte(text), Dictionary: dict, Window: 72 * time.Hour, AsOf: 1,
		DataCut: time.Date(2027, 6, 1, 0, 0, 0, 0, time.UTC), MinVerified: 5}
	for i := range dict.Findings {
		f := &dict.Findings[i]
		meta.Findings = append(meta.Findings, queries.Finding{ID: f.ID, Unit: f.Unit, Scale: int32(f.Scale)})
	}
	for _, f := range set.Flags {
		meta.Flags = append(meta.Flags, queries.Flag{ID: f.ID})
	}
	return queriestest.Open(t, meta)
}

type kind struct {
	n              int
	species, where string
	finding        string
	value          int
	need           int
	route, level   int
}

func fill(t *testing.T, db *sql.DB, kinds ...kind) {
	t.Helper()
	base := 0
	for _, k := range kinds {
		n := 12 * k.n
		ids := fmt.Sprintf("SELECT i, ('00000000-0000-0000-0000-' || lpad((i + %d)::VARCHAR, 12, '0'))::UUID AS id FROM range(%d) t(i)", base, n)
		statements := []string{
			"INSERT INTO calls (call, contact, episode) SELECT id, id, id FROM (" + ids + ")",
			fmt.Sprintf(`INSERT INTO cases (episode, call, started_at, month, species, level, route, need_same_day, need_emergency, f_%s)
				SELECT id, id, make_timestamp(2026, (i %% 12 + 1)::BIGINT, 10, 9, 0, 0), 202601 + i %% 12, '%s', %d, %d, %d, %d, %d FROM (%s)`,
				k.finding, k.species, k.level, k.route, k.need, k.need, k.value, ids),
		}
		if k.value >= 0 {
			statements = append(statements, fmt.Sprintf(`INSERT INTO checks (call, finding, state, seq, observer, setting, animal_state)
				SELECT id, '%s', 'done', 1, 'owner', '%s', 'at_rest' FROM (%s)`, k.finding, k.where, ids))
		}
		for _, text := range statements {
			if _, err := db.Exec(text); err != nil {
				t.Fatalf("%s: %v", text, err)
			}
		}
		base += n
	}
}

func options(finding string, criteria ...string) Options {
	o := Options{Finding: finding, Cut: 3, Draws: 400, Review: review.Options{Confidence: 0.95, Lag: 45 * 24 * time.Hour}}
	for _, text := range criteria {
		c, err := ParseCriterion(text)
		if err != nil {
			panic(err)
		}
		o.Criteria = append(o.Criteria, c)
	}
	return o
}

func build(t *testing.T, d *queries.DB, o Options) *Result {
	t.Helper()
	r, err := Build(context.Background(), d, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// cats: each month 1 in need and 1 not at 65, 3 in need at 50, 4 not at 50, all
// seen as advised; of 20 kept at home at 30, 4 were called back and well.
func cats(t *testing.T) *queries.DB {
	d, db := small(t, rulesText)
	fill(t, db,
		kind{1, "cat", "home", "breathing_rate", 65, 1, 1, 3}, kind{1, "cat", "home", "breathing_rate", 65, 0, 1, 3},
		kind{3, "cat", "home", "breathing_rate", 50, 1, 1, 3}, kind{1, "cat", "home", "breathing_rate", 50, 0, 1, 3},
		kind{4, "cat", "home", "breathing_rate", 30, 0, 3, 1}, kind{16, "cat", "home", "breathing_rate", 30, -1, 0, 1},
		kind{5, "cat", "clinic", "breathing_rate", 90, 0, 1, 3}, // never mixed in
		kind{2, "cat", "", "breathing_rate", -2, 1, 1, 3})       // tried, not possible
	return d
}

// TestByHand: over the twelve months the verified with a reading at home are
// 48 in need (12 at 65, 36 at 50) and 72 not (12, 12, 48 at 30); each of the 48
// called back stands for 5 kept at home.
func TestByHand(t *testing.T) {
	r := build(t, cats(t), options("breathing_rate", "youden", "cost=5", "sensitivity=0.99"))
	g := r.Groups[0]
	if len(r.Groups) != 1 || g.Name != "cat" || g.Readings != 12*26 || g.Episodes != 12*33 || len(g.Elsewhere) != 1 || g.Elsewhere[0] != (Elsewhere{"clinic", 60}) {
		t.Fatalf("%+v", g)
	}
	if g.NotAssessed[0] != (State{"not_possible", 24, 0, 0}) || g.Rule != "at least 60" || !g.InForce[0].Decides {
		t.Errorf("not assessed %+v, in force %+v", g.NotAssessed, g.InForce)
	}
	for _, c := range []struct {
		rule                              string
		sens, naiveSpec, correctedSpec, n float64
	}{
		{"at least 65", 12.0 / 48, 60.0 / 72, 252.0 / 264, 24},
		{"at least 60", 12.0 / 48, 60.0 / 72, 252.0 / 264, 24}, // in force, no recorded value
		{"at least 50", 1, 48.0 / 72, 240.0 / 264, 72},
		{"at least 30", 1, 0, 0, 312},
	} {
		got := candidate(t, g, c.rule)
		near(t, c.rule+" sensitivity", got.Corrected.Sensitivity, c.sens)
		near(t, c.rule+" naive sensitivity", got.Naive.Sensitivity, c.sens)
		near(t, c.rule+" naive specificity", got.Naive.Specificity, c.naiveSpec)
		near(t, c.rule+" corrected specificity", got.Corrected.Specificity, c.correctedSpec)
		near(t, c.rule+" a day", got.PerDay, c.n/365)
		if got.InForce != (c.rule == "at least 60") {
			t.Errorf("%s: in force %v", c.rule, got.InForce)
		}
	}
	for i, want := range []string{"at least 50", "at least 50", "nothing"} {
		c := g.Choices[i]
		switch {
		case want == "nothing": // 32 of 32 in need leave a lower limit of 89 %
			if c.Trial == nil || c.Trial.Rule != "at least 30" && c.Trial.Rule != "at least 50" {
				t.Errorf("%s: %+v", c.Criterion, c)
			}
		case c.Trial == nil || c.Trial.Rule != want || c.Against != "marks 32 readings more than the threshold in force" || !strings.HasPrefix(c.Holds, "yes"):
			t.Errorf("%s: %+v, %q, %q", c.Criterion, c.Trial, c.Against, c.Holds)
		}
	}
	if r.Fit != (Period{"2026-01", "2026-08", 243}) || r.Judge != (Period{"2026-09", "2026-12", 122}) {
		t.Errorf("chosen on %v, judged on %v", r.Fit, r.Judge)
	}
}

func candidate(t *testing.T, g Group, rule string) Candidate {
	t.Helper()
	for _, c := range g.Candidates {
		if c.Rule == rule {
			return c
		}
	}
	t.Fatalf("no candidate %q", rule)
	return Candidate{}
}

func near(t *testing.T, what string, f review.Figure, want float64) {
	t.Helper()
	if !f.Estimable() || math.Abs(*f.Estimate-want) > 1e-9 || *f.Low > want || *f.High < want {
		t.Errorf("%s: %+v, want %v", what, f, want)
	}
}

// TestNobodyFollowedUp: with no call-back the corrected figures are not
// estimable, a criterion chooses nothing, and nothing is written.
func TestNobodyFollowedUp(t *testing.T) {
	d, db := small(t, rulesText)
	fill(t, db, kind{2, "cat", "home", "breathing_rate", 65, 1, 1, 3}, kind{2, "cat", "home", "breathing_rate", 50, 0, 1, 3},
		kind{5, "cat", "home", "breathing_rate", 30, -1, 0, 1})
	r := build(t, d, options("breathing_rate", "youden"))
	g := r.Groups[0]
	if g.CorrectedArea.Estimable() || !g.NaiveArea.Estimable() || g.Choices[0].Trial != nil || !strings.Contains(g.Choices[0].NotEstimable, "followed up") {
		t.Errorf("%+v", g.Choices[0])
	}
	if _, err := Propose(r, d.Meta(), ""); !errors.Is(err, ErrNothing) || !strings.Contains(err.Error(), "followed up") {
		t.Errorf("%v", err)
	}
	var b bytes.Buffer
	if err := Text(&b, r); err != nil || !strings.Contains(b.String(), "not estimable") || strings.Contains(b.String(), "NaN") {
		t.Errorf("%v\n%s", err, b.String())
	}
}

// TestBothEnds: a dog's temperature gets a lower and an upper threshold together,
// and both are written.
func TestBothEnds(t *testing.T) {
	d, db := small(t, rulesText)
	fill(t, db,
		kind{2, "dog", "home", "temperature_c", 360, 1, 1, 3}, kind{1, "dog", "home", "temperature_c", 372, 1, 1, 3},
		kind{4, "dog", "home", "temperature_c", 385, 0, 1, 3}, kind{1, "dog", "home", "temperature_c", 398, 1, 1, 3},
		kind{2, "dog", "home", "temperature_c", 410, 1, 1, 3}, kind{3, "dog", "home", "temperature_c", 385, 0, 3, 1})
	r := build(t, d, options("temperature_c", "youden"))
	g := r.Groups[0]
	if g.Rule != "at most 37.4 or at least 40.1" || r.Direction != "both ends are bad" {
		t.Errorf("in force %q, %s", g.Rule, r.Direction)
	}
	p, err := Propose(r, d.Meta(), "small_2")
	if err != nil || p.To != "at most 37.2 or at least 39.8" || len(p.Flags) != 2 {
		t.Fatalf("%+v, %v", p, err)
	}
	for _, want := range []string{"# A remark that stays.", "ruleset: small_2", "{finding: temperature_c, at_least: 39.8}", "{finding: temperature_c, at_most: 37.2}", "{finding: breathing_rate, at_least: 60}"} {
		if !strings.Contains(string(p.Text), want) {
			t.Errorf("no %q in\n%s", want, p.Text)
		}
	}
}

func TestProposeRefuses(t *testing.T) {
	d := cats(t)
	for name, c := range map[string]struct {
		o    Options
		text string
		want string
	}{
		"a finding without a flag":    {options("hours_since_eating", "youden"), rulesText, "expected one of"},
		"the threshold in force":      {options("breathing_rate", "youden"), strings.Replace(rulesText, "at_least: 60", "at_least: 50", 1), "threshold in force"},
		"several criteria":            {options("breathing_rate", "youden", "cost=5"), rulesText, "expected one"},
		"a flag for more species":     {options("breathing_rate", "youden"), strings.Replace(rulesText, "species: [cat], all: [{finding: breathing_rate", "species: [cat, dog], all: [{finding: breathing_rate", 1), "more species"},
		"a flag with another finding": {options("breathing_rate", "youden"), strings.Replace(rulesText, "at_least: 60}]", "at_least: 60}, {finding: collapse, is: [yes]}]", 1), "only together with another finding"},
		"no flag on it":               {options("breathing_rate", "youden"), strings.Replace(rulesText, "finding: breathing_rate", "finding: onset_h", 1), "no flag of the rules in force"},
		"a criterion that marks all":  {options("breathing_rate", "cost=999999"), rulesText, ""},
	} {
		set, err := rules.Parse("x.yaml", []byte(c.text))
		if err != nil {
			t.Fatal(err)
		}
		db, raw := small(t, c.text)
		_ = raw
		meta := db.Meta()
		meta.Rules = set
		copyCats(t, raw, d)
		r, err := Build(context.Background(), db, c.o)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		p, err := Propose(r, meta, "")
		if c.want == "" {
			if err == nil && p == nil {
				t.Errorf("%s: neither a proposal nor a reason", name)
			}
			continue
		}
		if !errors.Is(err, ErrNothing) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// copyCats fills a database as cats does.
func copyCats(t *testing.T, db *sql.DB, _ *queries.DB) {
	fill(t, db,
		kind{1, "cat", "home", "breathing_rate", 65, 1, 1, 3}, kind{3, "cat", "home", "breathing_rate", 50, 1, 1, 3},
		kind{2, "cat", "home", "breathing_rate", 30, 0, 1, 3}, kind{2, "cat", "home", "breathing_rate", 30, 0, 3, 1})
}

func TestCriteria(t *testing.T) {
	for _, text := range append([]string{"referrals=1.5"}, Given...) {
		if c, err := ParseCriterion(text); err != nil || c.Text != text {
			t.Errorf("%s: %v", text, err)
		}
	}
	for _, text := range []string{"", "youden=1", "cost", "cost=", "cost=0", "cost=-3", "cost=NaN", "cost=Inf", "sensitivity=1", "sensitivity=95", "best", "net-benefit=1"} {
		if _, err := ParseCriterion(text); err == nil {
			t.Errorf("%q is taken", text)
		}
	}
}

func TestOptionsRefused(t *testing.T) {
	d := cats(t)
	for name, o := range map[string]Options{
		"unknown finding": options("tail_wag"), "a coded finding": options("gum_colour"),
		"months reversed": {Finding: "breathing_rate", Cut: 3, From: 202612, To: 202601, Review: review.Options{Confidence: 0.95}},
		"all judged":      {Finding: "breathing_rate", Cut: 3, From: 202601, To: 202604, JudgeMonths: 4, Review: review.Options{Confidence: 0.95}},
	} {
		if _, err := Build(context.Background(), d, o); !errors.Is(err, queries.ErrParameter) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestWriters: every form holds the cautions or the figures, none a number that
// is not one.
func TestWriters(t *testing.T) {
	r := build(t, cats(t), options("breathing_rate", "youden", "referrals=0.1"))
	data, err := json.Marshal(r)
	if err != nil || !bytes.Contains(data, []byte(`"cautions":["This is decision support`)) {
		t.Errorf("json: %v", err)
	}
	var html, table, text bytes.Buffer
	if err := errors.Join(HTML(&html, r), CSV(&table, r), Text(&text, r)); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&table).ReadAll()
	if err != nil || len(rows) < 40 {
		t.Errorf("csv: %d rows, %v", len(rows), err)
	}
	for _, b := range []string{html.String(), text.String()} {
		for _, bad := range []string{"NaN", "Inf", "%!", "ZgotmplZ"} {
			if strings.Contains(b, bad) {
				t.Errorf("%s in %.200s", bad, b)
			}
		}
		if !strings.Contains(b, "emergency sign is seen at once") {
			t.Error("the cautions are missing")
		}
	}
	if n := strings.Count(html.String(), "<svg"); n != 3 {
		t.Errorf("%d figures", n)
	}
	again := build(t, cats(t), options("breathing_rate", "youden", "referrals=0.1"))
	if second, _ := json.Marshal(again); !bytes.Equal(data, second) {
		t.Error("the same counts give another result")
	}
}
