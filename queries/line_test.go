package queries_test

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

type row = queriestest.Row

var ctx = context.Background()

// meta has three flags, one for each of three findings.
var meta = queries.Meta{
	Flags: []queries.Flag{
		{ID: "hard_breathing", Level: 4, Findings: []string{"breathing_effort"}},
		{ID: "pale_gums", Level: 4, Findings: []string{"gum_colour"}},
		{ID: "slow_refill", Level: 3, Findings: []string{"capillary_refill_s"}},
	},
	Findings: []queries.Finding{
		{ID: "breathing_effort", Codes: []string{"normal", "mild", "marked", "gasping"}},
		{ID: "gum_colour", Codes: []string{"pink", "white", "pigmented_unreadable"}, Unreadable: []string{"pigmented_unreadable"}},
		{ID: "capillary_refill_s", Unit: "s", Scale: 10},
	},
	Strata: []string{"site", "species"},
}

// scope is June and July 2026; what began before 15 July is mature.
var scope = queries.Scope{From: 202606, To: 202607, MatureBefore: day(7, 15)}

func day(month, d int) time.Time {
	return time.Date(2026, time.Month(month), d, 9, 30, 0, 0, time.UTC)
}

// line is the small advice line that the tests below count by eye:
//
//	 n  day   advice     rules      flags  found by         needed at emergency / same day
//	 1  1.6.  emergency  emergency  +--    advised visit    yes / yes
//	 2  2.6.  emergency  emergency  ++-    advised visit    yes / yes   same animal as 1
//	 3  3.6.  same day   same day   --+    advised visit    no / no
//	 4  4.6.  same day   home       ---    nobody: did not attend, cost
//	 5  5.6.  home       emergency  +--    own decision     yes / yes   lowered, missed, died
//	 6  6.6.  home       home       ---    call-back        no / no
//	 7  7.6.  soon       home       -?-    audit            no / yes    missed; gums not possible
//	 8  8.6.  home       home       ??-    nobody           breathing not asked, gums declined
//	 9  9.6.  emergency  emergency  +?-    advised visit    yes / yes   gums: stopped early
//	10 20.7.  home       home       ---    nobody yet: too young
//	11 21.7.  same day   home       --?    advised visit    no / no     too young; refill not asked
//	12 10.5.  emergency  emergency  +--    out of scope
//	13 10.6.  none       undetermined ???  nobody           site and species blank
//	14 11.6.  home       home       -?-    nobody           gums pigmented: cannot be read
func line(t testing.TB) (*queries.DB, *sql.DB) {
	d, db := queriestest.Open(t, meta)
	yes := row{"f_breathing_effort": 3, "f_gum_colour": 1, "f_capillary_refill_s": 15}
	no := row{"f_breathing_effort": 1, "f_gum_colour": 1, "f_capillary_refill_s": 15}
	add := func(base, more row) {
		r := row{}
		for _, m := range []row{base, more} {
			for k, v := range m {
				r[k] = v
			}
		}
		queriestest.Case(t, db, meta, r)
	}
	a, adv, vet := queriestest.ID(501), queriestest.ID(601), "practice_a"
	add(yes, row{"n": 1, "started_at": day(6, 1), "level": 4, "rule_level": 4, "rule_high": 4, "flags": "+--", "route": 1, "outcome_source": 1,
		"need_emergency": 1, "need_same_day": 1, "vet_level": 4, "animal": a, "advisor": adv, "practice": vet, "attended": 1,
		"comp_level_emergency": 1, "comp_admitted": 1, "outcomes": 1})
	add(yes, row{"n": 2, "started_at": day(6, 2), "level": 4, "rule_level": 4, "rule_high": 4, "flags": "++-", "f_gum_colour": 2, "route": 1, "outcome_source": 1,
		"need_emergency": 1, "need_same_day": 1, "vet_level": 4, "animal": a, "advisor": adv, "practice": vet, "attended": 1,
		"comp_level_emergency": 1, "comp_admitted": 0, "outcomes": 2, "conflicts": 1})
	add(no, row{"n": 3, "started_at": day(6, 3), "level": 3, "rule_level": 3, "rule_high": 3, "flags": "--+", "f_capillary_refill_s": 20, "route": 1, "outcome_source": 1,
		"need_emergency": 0, "need_same_day": 0, "vet_level": 2, "animal": queriestest.ID(503), "species": "cat", "handling": "wrapped", "person_hurt": "scratched"})
	add(no, row{"n": 4, "started_at": day(6, 4), "level": 3, "flags": "---", "attended": 0, "no_attend_reason": "cost"})
	add(yes, row{"n": 5, "started_at": day(6, 5), "level": 1, "later_level": 4, "rule_level": 4, "rule_high": 4, "flags": "+--", "route": 2, "outcome_source": 1,
		"need_emergency": 1, "need_same_day": 1, "vet_level": 4, "animal": queriestest.ID(505), "site": "south", "died": true,
		"disposition": "died", "outcome_minutes": 90, "recontact_24h": true, "safety_net": false})
	add(no, row{"n": 6, "started_at": day(6, 6), "route": 3, "outcome_source": 2, "need_emergency": 0, "need_same_day": 0, "vet_level": 1,
		"flags": "---", "site": "south", "species": "cat", "safety_net": true})
	add(no, row{"n": 7, "started_at": day(6, 7), "level": 2, "rule_high": 4, "flags": "-?-", "f_gum_colour": -2, "route": 4, "outcome_source": 2,
		"need_emergency": 0, "need_same_day": 1, "vet_level": 3, "site": "south", "audit_selected": true, "audit_responded": true})
	add(no, row{"n": 8, "started_at": day(6, 8), "rule_high": 4, "flags": "??-", "f_breathing_effort": -1, "f_gum_colour": -3, "handling": "refused",
		"person_hurt": "bitten", "audit_selected": true})
	add(yes, row{"n": 9, "started_at": day(6, 9), "level": 4, "rule_level": 4, "rule_high": 4, "flags": "+?-", "f_gum_colour": -4, "route": 1, "outcome_source": 1,
		"need_emergency": 1, "need_same_day": 1, "vet_level": 4, "animal": queriestest.ID(509)})
	add(no, row{"n": 10, "started_at": day(7, 20), "flags": "---"})
	add(no, row{"n": 11, "started_at": day(7, 21), "level": 3, "rule_high": 3, "flags": "--?", "f_capillary_refill_s": -1, "route": 1,
		"need_emergency": 0, "need_same_day": 0, "vet_level": 1})
	add(yes, row{"n": 12, "started_at": day(5, 10), "level": 4, "rule_level": 4, "flags": "+--"})
	add(row{}, row{"n": 13, "started_at": day(6, 10), "level": 0, "rule_level": 0, "rule_low": 0, "rule_high": 4, "flags": "???", "site": nil, "species": nil})
	add(no, row{"n": 14, "started_at": day(6, 11), "rule_high": 4, "flags": "-?-", "f_gum_colour": 3})
	return d, db
}

// same compares rows with one line of want each, written as their fields.
func same[T any](t *testing.T, got []T, err error, want string) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	var have []string
	for _, r := range got {
		line := strings.Join(strings.Fields(strings.Trim(fmt.Sprintf("%v", r), "{}")), " ")
		have = append(have, strings.ReplaceAll(line, "[ ]", "[]"))
	}
	var lines []string
	for _, l := range strings.Split(strings.TrimSpace(want), "\n") {
		l, _, _ = strings.Cut(l, "//")
		if l = strings.ReplaceAll(strings.Join(strings.Fields(l), " "), "[ ]", "[]"); l != "" {
			lines = append(lines, l)
		}
	}
	if diff := cmp.Diff(lines, have); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}

// nobody has the tables and not one row.
func nobody(t *testing.T) *queries.DB {
	d, _ := queriestest.Open(t, meta)
	return d
}
