package resolve

import (
	"testing"

	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
)

// testRules has one flag that fires, one that asks for a second finding.
const testRules = `
ruleset: test_1
title: Two flags
owner: test
reason: to be tested
effective: 2024-01-01
status: for tests
otherwise: home_care
flags:
  - id: white_gums
    title: White gums
    why: shock
    demands: emergency
    when_unknown: leave
    all:
      - {finding: gum_colour, is: [white, grey, blue]}
  - id: slow_refill
    title: Slow refill
    why: poor circulation
    demands: same_day
    when_unknown: raise
    all:
      - {finding: capillary_refill_s, at_least: 2}
`

func testSettings(t *testing.T) Settings {
	t.Helper()
	set, err := rules.Parse("test rules", []byte(testRules))
	if err != nil {
		t.Fatal(err)
	}
	return Settings{Dictionary: findings.Default(), Rules: set, CaseDef: casedef.Default(), EpisodeHours: 72, LinkHours: 168}
}
