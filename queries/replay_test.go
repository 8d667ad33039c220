package queries_test

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

const replayRules = `
ruleset: now_1
title: Rules in force
owner: test
reason: to be replayed
effective: 2024-01-01
status: for tests
otherwise: home_care
flags:
  - {id: collapse, title: Collapsed, why: shock, demands: emergency, when_unknown: raise, all: [{finding: collapse, is: [yes]}]}
  - {id: fast_cat, title: Cat breathes fast, why: chest, demands: same_day, when_unknown: leave, species: [cat], all: [{finding: breathing_rate, at_least: 60}]}
`

// proposedRules lower one demand and one threshold, and change the order.
const proposedRules = `
ruleset: next_1
title: Proposed rules
owner: test
reason: cats breathe fast earlier
effective: 2026-09-01
status: for tests
otherwise: home_care
flags:
  - {id: fast_cat, title: Cat breathes fast, why: chest, demands: same_day, when_unknown: leave, species: [cat], all: [{finding: breathing_rate, at_least: 40}]}
  - {id: collapse, title: Collapsed, why: shock, demands: same_day, when_unknown: raise, all: [{finding: collapse, is: [yes]}]}
`

// otherRules share no flag with the rules in force.
const otherRules = `
ruleset: other_1
title: Other rules
owner: test
reason: nothing in common
effective: 2026-09-01
status: for tests
otherwise: soon
flags:
  - {id: old_dog, title: Old dog breathes fast, why: chest, demands: emergency, when_unknown: raise, species: [dog], age_months: {at_least: 60}, all: [{finding: breathing_rate, at_least: 40}]}
`

func ruleSet(t *testing.T, text string) *rules.Program {
	t.Helper()
	set, err := rules.Parse("rules.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	p, err := rules.Compile(set, findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// replayLine is the line that the tests below count by eye; the rules in force
// are replayRules.
//
//	 n  animal  advice    collapse  breaths  needed at emergency / same day, found by   in force -> proposed
//	 1  cat     same day  no        70       no / yes, advised visit                    same day, same day
//	 2  cat     home      no        45       no / yes, call-back                        home -> same day: caught
//	 3  cat     soon      no        45       no / no, call-back                         home -> same day: extra
//	 4  cat     home      no        45       nobody                                     home -> same day
//	 5  dog     emergency yes       45       yes / yes, advised visit                   emergency -> same day: missed
//	 6  dog     emergency yes       -        no / yes, advised visit                    emergency -> same day: spared
//	 7  dog     same day  not asked 20       nobody                                     may be emergency, taken so -> the same at same day
//	 8  rabbit  home      not asked -        nobody                                     undetermined
//	 9  cat     none      no        45       nobody, July: too young                    home -> same day
//	10  cat     home      no        60       nobody, May: out of scope                  same day, same day
func replayLine(t testing.TB) (*queries.DB, *sql.DB) {
	set, err := rules.Parse("now.yaml", []byte(replayRules))
	if err != nil {
		t.Fatal(err)
	}
	m := queries.Meta{
		Rules: set, Dictionary: findings.Default(), Strata: []string{"site", "species"},
		Flags:    []queries.Flag{{ID: "collapse", Level: 4}, {ID: "fast_cat", Level: 3}},
		Findings: []queries.Finding{{ID: "collapse", Codes: []string{"no", "yes"}}, {ID: "breathing_rate", Unit: "/min", Scale: 1}},
	}
	d, db := queriestest.Open(t, m)
	add := func(r row) { queriestest.Case(t, db, m, r) }
	cat := func(n int, breaths int, more row) {
		r := row{"n": n, "species": "cat", "flags": "--", "f_collapse": 1, "f_breathing_rate": breaths, "local_hour": 11, "started_at": day(6, n), "age_months": 30}
		if breaths >= 60 {
			r["flags"], r["rule_low"], r["rule_level"], r["rule_high"] = "-+", 3, 3, 3
		}
		for k, v := range more {
			r[k] = v
		}
		add(r)
	}
	cat(1, 70, row{"level": 3, "route": 1, "need_emergency": 0, "need_same_day": 1})
	cat(2, 45, row{"level": 1, "route": 3, "need_emergency": 0, "need_same_day": 1, "died": true, "disposition": "died"})
	cat(3, 45, row{"level": 2, "route": 3, "need_emergency": 0, "need_same_day": 0})
	cat(4, 45, row{"level": 1, "local_hour": 22, "site": "south"})
	dog := row{"species": "dog", "flags": "+-", "f_collapse": 2, "rule_low": 4, "rule_level": 4, "rule_high": 4, "level": 4, "route": 1, "local_hour": 3}
	for n, more := range map[int]row{
		5: {"need_emergency": 1, "need_same_day": 1, "f_breathing_rate": 45, "age_months": 3, "outcome_minutes": 90},
		6: {"need_emergency": 0, "need_same_day": 1, "age_months": 84},
		7: {"f_collapse": -1, "f_breathing_rate": 20, "flags": "?-", "rule_low": 1, "level": 3, "route": 0, "need_emergency": -1, "need_same_day": -1},
	} {
		r := row{"n": n, "started_at": day(6, n)}
		for _, m := range []row{dog, more} {
			for k, v := range m {
				r[k] = v
			}
		}
		add(r)
	}
	add(row{"n": 8, "species": "rabbit", "flags": "?-", "rule_low": 0, "rule_level": 0, "rule_high": 0, "level": 1, "started_at": day(6, 8), "local_hour": 11})
	cat(9, 45, row{"started_at": day(7, 20), "level": 0})
	cat(10, 60, row{"started_at": day(5, 10), "level": 1})
	return d, db
}

func TestReplayCounts(t *testing.T) {
	d, _ := replayLine(t)
	got, err := d.ReplayCounts(ctx, scope, queries.Replay{Proposed: ruleSet(t, proposedRules)})
	//  month mature site species age level | old low, level, high | new | need e, s | route stratum n
	want := `202606 true north cat 2 1 | 1 1 1 | 3 3 3 | 0 1 | 3 [north cat] 1
		202606 true north cat 2 2 | 1 1 1 | 3 3 3 | 0 0 | 3 [north cat] 1
		202606 true north cat 2 3 | 3 3 3 | 3 3 3 | 0 1 | 1 [north cat] 1
		202606 true north dog 0 3 | 1 4 4 | 1 3 3 | -1 -1 | 0 [north dog] 1
		202606 true north dog 1 4 | 4 4 4 | 3 3 3 | 1 1 | 1 [north dog] 1
		202606 true north dog 3 4 | 4 4 4 | 3 3 3 | 0 1 | 1 [north dog] 1
		202606 true north rabbit 0 1 | 0 0 0 | 0 0 0 | -1 -1 | 0 [north rabbit] 1
		202606 true south cat 2 1 | 1 1 1 | 3 3 3 | -1 -1 | 0 [south cat] 1
		202607 false north cat 2 0 | 1 1 1 | 3 3 3 | -1 -1 | 0 [north cat] 1`
	same(t, got, err, strings.ReplaceAll(want, "| ", ""))
	// Both sets from files, in force or not, give the same.
	again, err := d.ReplayCounts(ctx, scope, queries.Replay{Current: ruleSet(t, replayRules), Proposed: ruleSet(t, proposedRules)})
	same(t, again, err, strings.ReplaceAll(want, "| ", ""))
	none, err := nobody(t).ReplayCounts(ctx, scope, queries.Replay{})
	same(t, none, err, "")
}

func TestReplayMoved(t *testing.T) {
	d, _ := replayLine(t)
	p := queries.Replay{Proposed: ruleSet(t, proposedRules)}
	got, err := d.ReplayMoved(ctx, scope, p)
	if err != nil {
		t.Fatal(err)
	}
	var have []string
	for _, r := range got {
		age := int32(-1)
		if r.AgeMonths != nil {
			age = *r.AgeMonths
		}
		have = append(have, fmt.Sprintf("%s %s %s %d %d%d%d %d%d%d %d%d%d %d %v %b", r.Episode[34:], r.Species, strings.Join(r.Stratum, "/"), age,
			r.RuleLow, r.RuleLevel, r.RuleHigh, r.OldLow, r.OldLevel, r.OldHigh, r.NewLow, r.NewLevel, r.NewHigh, r.NeedSameDay, r.Died, r.Words))
	}
	slices.Sort(have)
	// Stored bit 0 is collapse, the second word's bit 1 the new limit of the cat's breaths.
	want := `02 cat north/cat 30 111 111 333 1 true [0 10]
03 cat north/cat 30 111 111 333 0 false [0 10]
04 cat south/cat 30 111 111 333 -1 false [0 10]
05 dog north/dog 3 444 444 333 1 false [1 0]
06 dog north/dog 84 444 444 333 1 false [1 0]
07 dog north/dog -1 144 144 133 -1 false [0 0]
09 cat north/cat 30 111 111 333 -1 false [0 10]`
	if strings.Join(have, "\n") != want {
		t.Errorf("got\n%s", strings.Join(have, "\n"))
	}
	none, err := nobody(t).ReplayMoved(ctx, scope, queries.Replay{})
	same(t, none, err, "")
}

// What is held once gives what every question works out by itself.
func TestReplayHeld(t *testing.T) {
	d, db := replayLine(t)
	for _, p := range []queries.Replay{{Proposed: ruleSet(t, proposedRules)}, {Current: ruleSet(t, proposedRules)}, {}, {Current: ruleSet(t, otherRules), Proposed: ruleSet(t, proposedRules)}} {
		held, release, err := d.HoldReplay(ctx, scope, p, 3)
		if err != nil {
			t.Fatal(err)
		}
		answers := func(p queries.Replay) string {
			counts, err1 := d.ReplayCounts(ctx, scope, p)
			episodes, err2 := d.ReplayEpisodes(ctx, scope, p, 3)
			days, err3 := d.ReplayDays(ctx, scope, p, 3, 20, 8)
			text, err4 := json.Marshal([]any{counts, episodes, days})
			if err := errors.Join(err1, err2, err3, err4); err != nil || len(counts) == 0 {
				t.Fatal(err)
			}
			return string(text)
		}
		if a, b := answers(p), answers(held); a != b {
			t.Errorf("anew\n%s\nheld\n%s", a, b)
		}
		if err := release(); err != nil {
			t.Error(err)
		}
	}
	var left int
	if err := db.QueryRow("SELECT count(*) FROM duckdb_tables() WHERE table_name LIKE 'replay_%'").Scan(&left); err != nil || left != 0 {
		t.Errorf("%d tables left, %v", left, err)
	}
}

func TestReplayEpisodes(t *testing.T) {
	d, _ := replayLine(t)
	p := queries.Replay{Proposed: ruleSet(t, proposedRules)}
	got, err := d.ReplayEpisodes(ctx, scope, p, 10)
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, r := range got {
		flags := func(list []int, set *rules.Set) (out []string) {
			for _, i := range list {
				out = append(out, set.Flags[i].ID)
			}
			return out
		}
		cuts := map[bool]string{true: "emergency"}[r.Emergency] + map[bool]string{true: "same_day"}[r.SameDay]
		lines = append(lines, strings.Join(append(append([]string{r.Kind, cuts, r.Episode[34:], "|"}, flags(r.OldFired, d.Meta().Rules)...),
			append([]string{"|"}, flags(r.NewFired, p.Proposed.Set)...)...), " "))
	}
	want := []string{"missed emergency 05 | collapse | collapse", "caught same_day 02 | | fast_cat", "extra same_day 03 | | fast_cat", "spared emergency 06 | collapse | collapse"}
	if strings.Join(lines, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(lines, "\n"), strings.Join(want, "\n"))
	}
	if m := got[0]; *m.OutcomeHours != 1.5 || *m.AgeMonths != 3 || m.OldLevel != 4 || m.NewLevel != 3 || m.NewHigh != 3 || m.Species != "dog" {
		t.Errorf("missed: %+v", m)
	}
	few, err := d.ReplayEpisodes(ctx, scope, p, 0)
	if err != nil || len(few) != 1 || few[0].Kind != "missed" {
		t.Errorf("the newly missed are always listed: %v, %v", few, err)
	}
	none, err := nobody(t).ReplayEpisodes(ctx, scope, queries.Replay{}, 10)
	same(t, none, err, "")
}

func TestReplayDays(t *testing.T) {
	d, _ := replayLine(t)
	got, err := d.ReplayDays(ctx, scope, queries.Replay{Proposed: ruleSet(t, proposedRules)}, 3, 20, 8)
	if err != nil {
		t.Fatal(err)
	}
	var have []string
	for _, r := range got {
		if r.Night {
			have = append(have, r.Site+" "+r.Date.Format("02.01."))
		}
	}
	// The dogs rang at three in the morning: the night began the day before. At
	// 9:30 UTC a local hour of 22 is half a day ahead, of 3 some hours behind.
	if s := strings.Join(have, ", "); s != "north 04.06., north 05.06., north 06.06., south 03.06." && s != "north 04.06., north 05.06., north 06.06., south 04.06." {
		t.Errorf("nights: %s", s)
	}
	var calls, old, next, oldKept, newKept int64
	for _, r := range got {
		calls, old, next, oldKept, newKept = calls+r.Calls, old+r.OldSent, next+r.NewSent, oldKept+r.OldKept, newKept+r.NewKept
	}
	// Sent in: 1, 5, 6, 7 by the rules in force; 2, 3, 4, 9 as well by the proposal.
	if calls != 9 || old != 4 || next != 8 || oldKept != 4 || newKept != 8 {
		t.Errorf("%d calls, sent in %d and %d, with raises %d and %d", calls, old, next, oldKept, newKept)
	}
	none, err := nobody(t).ReplayDays(ctx, scope, queries.Replay{}, 3, 20, 8)
	same(t, none, err, "")
}

// Findings that the store never recorded are not asked; one recorded in another
// way is refused.
func TestReplayOtherDictionary(t *testing.T) {
	d, _ := replayLine(t)
	longer, err := findings.ParseOrExtend("site.yaml", []byte(`
dictionary: site_1
extends: hindcheck_1
title: one finding more
findings:
  - {id: paw_print, title: Paw print, kind: code, ask: Look., setting_note: none, source: test, codes: [{code: dry, title: dry}, {code: wet, title: wet}]}
`))
	if err != nil {
		t.Fatal(err)
	}
	set, err := rules.Parse("p.yaml", []byte(proposedRules+`  - {id: wet_paw, title: Wet paw, why: new, demands: emergency, when_unknown: leave, all: [{finding: paw_print, is: [wet]}]}`))
	if err != nil {
		t.Fatal(err)
	}
	p, err := rules.Compile(set, longer)
	if err != nil {
		t.Fatal(err)
	}
	got, err := d.ReplayCounts(ctx, scope, queries.Replay{Proposed: p})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range got {
		if r.NewLevel != 0 && (r.NewHigh != 4 || r.NewLevel == 4) {
			t.Errorf("a question never asked leaves the level open: %+v", r)
		}
	}
	moved := *longer
	moved.Findings = append([]findings.Finding{}, longer.Findings...)
	for i := range moved.Findings {
		if moved.Findings[i].ID == "breathing_rate" {
			moved.Findings[i].Scale = 10
		}
	}
	p.Dict = &moved
	if _, err := d.ReplayCounts(ctx, scope, queries.Replay{Proposed: p}); !errors.Is(err, queries.ErrParameter) || !strings.Contains(err.Error(), "breathing_rate") {
		t.Errorf("a finding on another scale: %v", err)
	}
}

// By name, a rules file is a parameter.
func TestReplayByName(t *testing.T) {
	d, _ := replayLine(t)
	file := filepath.Join(t.TempDir(), "next.yaml")
	if err := os.WriteFile(file, []byte(proposedRules), 0o600); err != nil {
		t.Fatal(err)
	}
	defaults := map[string]string{"from_month": "2026-06", "to_month": "2026-07", "mature_before": "2026-07-15", "current": "in_force"}
	got, err := d.Run(ctx, "replay_counts", map[string]string{"proposed": file}, defaults)
	if err != nil || len(got.Rows) != 9 {
		t.Errorf("%d rows, %v", len(got.Rows), err)
	}
	if _, err := d.Run(ctx, "replay_counts", map[string]string{"proposed": "none.yaml"}, defaults); !errors.Is(err, queries.ErrParameter) || !strings.Contains(err.Error(), "none.yaml") {
		t.Errorf("no such file: %v", err)
	}
}
