package queries_test

import (
	"testing"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
)

// proposed are two flags that the small advice line does not have: hard
// breathing of dogs from "mild" on, and a refill from 2 s on.
func proposed(t *testing.T) *rules.Program {
	t.Helper()
	s, err := rules.Parse("new.yaml", []byte(`ruleset: new
title: T
owner: O
reason: R
effective: 2026-01-01
status: S
otherwise: home_care
flags:
  - {id: a, title: T, why: W, demands: emergency, when_unknown: leave, species: [dog], all: [{finding: breathing_effort, is_not: [normal]}]}
  - {id: b, title: T, why: W, demands: same_day, when_unknown: leave, all: [{finding: capillary_refill_s, at_least: 2}]}
`))
	if err != nil {
		t.Fatal(err)
	}
	p, err := rules.Compile(s, findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestRuleUses(t *testing.T) {
	d, _ := line(t)
	got, err := d.RuleUses(ctx, scope, proposed(t))
	// flag species fired unknown ruled_out
	same(t, got, err, `
		0  0 1 0       // 13: species blank
		0 cat 0 0 2    // 3 and 6 are cats
		0 dog 4 1 5    // 1, 2, 5, 9 breathe hard; 8 not asked; 4, 7, 10, 11, 14 breathe well
		1  0 1 0
		1 cat 1 0 1    // 3 has 2.0 s
		1 dog 0 1 9    // 11 not asked
	`)
	inForce, err := d.RuleUses(ctx, scope, nil)
	same(t, inForce, err, `
		0  0 1 0
		0 cat 0 0 2
		0 dog 4 1 5
		1  0 1 0
		1 cat 0 0 2
		1 dog 1 4 5    // 2 white; 7, 8, 9, 14 unknown
		2  0 1 0
		2 cat 1 0 1
		2 dog 0 1 9
	`)
	none, err := nobody(t).RuleUses(ctx, scope, proposed(t))
	same(t, none, err, "")
}

func TestFindingAnswers(t *testing.T) {
	d, _ := line(t)
	got, err := d.FindingAnswers(ctx, scope)
	// finding species episodes answered
	same(t, got, err, `
		0  1 0
		0 cat 2 2
		0 dog 10 9    // 8 not asked
		1  1 0
		1 cat 2 2
		1 dog 10 7    // 7 not possible, 8 declined, 9 stopped early
		2  1 0
		2 cat 2 2
		2 dog 10 9    // 11 not asked
	`)
	none, err := nobody(t).FindingAnswers(ctx, scope)
	same(t, none, err, "")
}
