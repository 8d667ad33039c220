package queries_test

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/queries"
)

// A walk over cases gives what the plain questions give; where a column is not as a
// load writes it, it is given up.
func TestWalkOfCases(t *testing.T) {
	s := queries.Scope{From: 202602, To: 202608, MatureBefore: day(3, 1)}
	store := demoStore(t)
	var states []string
	for _, f := range open(t, store, 0).Meta().Findings {
		states = append(states, fmt.Sprintf(`(CASE WHEN hash(call, '%[1]s') %% 9 < 5 THEN -1 - (hash(call, '%[1]s') %% 9 %% 4)::INTEGER ELSE 1 + hash(call, '%[1]s') %% 3 END)::SMALLINT AS f_%[1]s`, f.ID))
	}
	for _, c := range []struct {
		name, replaced string
		walks          bool
	}{
		{"as stored", "site AS site", true},
		{"states and flags by lot", "hash(call) AS unknown_0, hash(call, 1) AS fired_0, md5((hash(animal) % 200)::VARCHAR)::UUID AS animal, (hash(call) % 3)::TINYINT - 1 AS need_emergency, " + strings.Join(states, ", "), true},
		{"blanks", "NULL::VARCHAR AS complaint, CASE WHEN hash(call) % 5 > 0 THEN local_hour END AS local_hour, CASE WHEN hash(call) % 7 > 0 THEN weekday END AS weekday, CASE WHEN hash(call) % 2 = 0 THEN species END AS species, CASE WHEN hash(call) % 3 = 0 THEN disposition END AS disposition, CASE WHEN hash(call) % 3 = 0 THEN animal END AS animal, NULL::UUID AS advisor", true},
		{"many species", "'s' || (hash(call) % 20) AS species", false},
		{"a number of no state", "CASE WHEN hash(call) % 99 = 0 THEN -5::SMALLINT ELSE f_gum_colour END AS f_gum_colour", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := open(t, store, 0)
			dir := t.TempDir()
			for month := s.From; month <= s.To; month = queries.AddMonths(month, 1) {
				path := filepath.Join(dir, fmt.Sprintf("%d.parquet", month))
				if _, err := d.SQL().Exec(fmt.Sprintf("COPY (SELECT * REPLACE (%s) FROM cases WHERE month = %d) TO '%s' (FORMAT parquet)", c.replaced, month, path)); err != nil {
					t.Fatal(err)
				}
				d.SetFiles("cases", month, path)
			}
			if _, err := d.SQL().Exec("CREATE OR REPLACE VIEW cases AS FROM read_parquet('" + dir + "/*.parquet')"); err != nil {
				t.Fatal(err)
			}
			if d.SetWalks(); d.WalksCases(ctx, s) != c.walks {
				t.Errorf("walks %v, want %v", !c.walks, c.walks)
			}
			if !c.walks {
				return // the plain questions are asked
			}
			got := ofCases(t, d, s)
			d.ReadViews()
			want := ofCases(t, d, s)
			if len(want.Unknown) < 10 || len(want.Heaping) == 0 {
				t.Error("nothing to compare")
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("-plain +walked:\n%s", diff)
			}
		})
	}
}

// caseAnswers are the answers that a walk over cases gives.
type caseAnswers struct {
	States  []queries.FindingStatesRow
	Shares  []queries.CodeSharesRow
	Usual   []queries.UsualChecksRow
	Heaping []queries.FindingHeapingRow
	Unknown []queries.FlagNotAssessedRow
	Groups  []queries.AdviceGroupsRow
	Kinds   []queries.SubgroupsRow
	Advised map[string][]queries.AdviceClustersRow
	Flagged map[string][]queries.FlagClustersRow
}

func ofCases(t *testing.T, d *queries.DB, s queries.Scope) (a caseAnswers) {
	t.Helper()
	var errs [7]error
	a.States, errs[0] = d.FindingStates(ctx, s)
	a.Shares, errs[1] = d.CodeShares(ctx, s)
	a.Usual, errs[2] = d.UsualChecks(ctx, s)
	a.Heaping, errs[3] = d.FindingHeaping(ctx, s, "capillary_refill_s", 20, 10)
	a.Unknown, errs[4] = d.FlagNotAssessed(ctx, s)
	a.Groups, errs[5] = d.AdviceGroups(ctx, s)
	a.Kinds, errs[6] = d.Subgroups(ctx, s)
	a.Advised, a.Flagged = map[string][]queries.AdviceClustersRow{}, map[string][]queries.FlagClustersRow{}
	all := errs[:]
	for kind, cut := range map[string]int{"animal": 3, "owner": 4, "advisor": 4, "practice": 3} {
		var advised, flagged error
		a.Advised[kind], advised = d.AdviceClusters(ctx, s, cut, kind)
		a.Flagged[kind], flagged = d.FlagClusters(ctx, s, cut, kind)
		all = append(all, advised, flagged)
	}
	if err := errors.Join(all...); err != nil {
		t.Fatal(err)
	}
	return a
}
