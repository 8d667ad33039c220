package pipeline_test

import (
	"database/sql"
	"fmt"
	"testing"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// The generator counts what it plants: repeats, test calls, broken rows of each
// kind, transfers, slips of unit. A full-size load must account for each of them,
// to the last row, in its report and in the store.
func TestPlantedCountsAreFound(t *testing.T) {
	dir, planted := demoLineAndSummary(t, demo.Options{Seed: 11})
	opt := loadOptions(t, dir)
	sum := load(t, opt)
	bySource := map[string]store.Sums{}
	for _, e := range sum.Exports {
		s := bySource[e.Source]
		s.Add(e.Sums)
		bySource[e.Source] = s
	}
	p, b := planted, planted.Broken
	calls, checks, outcomes, vet := bySource["demo-calls"], bySource["demo-checks"], bySource["demo-outcomes"], bySource["demo-vet-readings"]
	db, orphanReadings := storedLine(t, opt.Store)
	count := func(query string) (n int64) {
		t.Helper()
		if err := db.QueryRow(query).Scan(&n); err != nil {
			t.Fatalf("%s: %v", query, err)
		}
		return n
	}
	aside := func(file, reason string) int64 {
		return count(fmt.Sprintf("SELECT count(*) FROM set_aside WHERE file LIKE '%s-%%' AND reason = '%s'", file, reason))
	}
	contacts := func(kind string) int64 {
		return count("SELECT count(DISTINCT contact) FROM calls WHERE contact_type = '" + kind + "'")
	}
	checksOf := func(where string) int64 {
		return count("SELECT count(*) FROM checks WHERE observer = 'owner' AND " + where)
	}
	casesOf := func(where string) int64 { return count("SELECT count(*) FROM cases WHERE " + where) }
	several := func(where string) int64 {
		return count("SELECT count(*) FROM (SELECT count(*) AS n, count(DISTINCT animal) AS animals FROM calls GROUP BY contact) WHERE " + where)
	}
	for _, x := range []struct {
		what      string
		got, want int64
	}{
		// The account of the load.
		{"rows of calls", calls.Rows, p.CallRows}, {"rows of checks", checks.Rows, p.CheckRows}, {"rows of outcomes", outcomes.Rows, p.OutcomeRows},
		{"rows of deliveries", bySource["demo-deliveries"].Rows, p.DeliveryRows},
		{"calls", calls.New, p.CallRecords}, {"checks", checks.New, p.CheckRecords}, {"outcomes", outcomes.New, p.OutcomeRecords},
		{"vets' readings", vet.New + orphanReadings, p.VetReadings},
		{"calls set aside", calls.SetAside, b.Calls()}, {"checks set aside", checks.SetAside, b.Checks() + p.OrphanChecks}, {"outcomes set aside", outcomes.SetAside, b.Outcomes()},
		{"calls repeated", calls.Within, p.DuplicateCallRows + p.OverlapCallRows + p.ReopenedCalls},
		{"outcomes repeated", outcomes.Within, p.DuplicateOutcomeRows + p.CorrectedOutcomes},
		{"outcomes that belong to nothing", sum.Links["unlinked"], p.OrphanOutcomes},
		// Reasons.
		{"calls with an unknown word", aside("calls", "unmapped_word"), b.CallUnknownWord}, {"calls with a bad date", aside("calls", "bad_date"), b.CallBadDate},
		{"calls without a key", aside("calls", "missing_key"), b.CallMissingKey}, {"calls cut short", aside("calls", "broken_row"), b.CallCutRow},
		{"calls in the hour that never was", aside("calls", "skipped_time"), b.CallSkippedHour},
		{"checks with an unknown word", aside("checks", "unmapped_word"), b.CheckUnknownWord}, {"checks with a bad number", aside("checks", "inexact_number"), b.CheckBadNumber},
		{"checks out of range", aside("checks", "out_of_range"), b.CheckOutOfRange}, {"checks without an answer", aside("checks", "blank_reading"), b.CheckBlankAnswer},
		{"checks of no call", aside("checks", "orphan_check"), p.OrphanChecks}, {"outcomes with an unknown word", aside("outcomes", "unmapped_word"), b.OutcomeUnknownWord},
		{"calls that end before they begin", sum.Aside["end_before_start"], 0},
		// What is stored.
		{"test calls", contacts("test"), p.TestCalls}, {"abandoned calls", contacts("abandoned"), p.AbandonedCalls}, {"calls not clinical", contacts("not_clinical"), p.NotClinicalCalls},
		{"dead before the call", contacts("dead_before_call"), p.DeadBeforeCalls}, {"third parties", contacts("third_party"), p.ThirdPartyCalls},
		{"clinical records", count("SELECT count(*) FROM calls WHERE contact_type = 'clinical'"), p.Contacts + p.Transfers},
		{"call-backs", count("SELECT count(*) FROM calls WHERE contact_kind = 'call_back'"), p.CallBacks},
		{"re-contacts", count("SELECT count(*) FROM calls WHERE contact_kind = 're_contact'"), p.ReContacts},
		{"transfers", several("n = 2 AND animals = 1"), p.Transfers}, {"calls about several animals", several("animals > 1"), p.SeveralAnimals},
		{"checks in Fahrenheit", checksOf("unit_given = 'degF'"), p.FahrenheitChecks}, {"checks stopped early", checksOf("reason = 'stopped_early'"), p.StoppedEarlyChecks},
		{"checks skipped", checksOf("reason = 'skip_logic'"), p.SkippedChecks}, {"checks not possible", checksOf("state = 'not_possible'"), p.NotPossibleChecks},
		{"checks declined", checksOf("state = 'declined'"), p.DeclinedChecks},
		{"episodes", casesOf("true"), p.Episodes}, {"scratched", casesOf("person_hurt = 'scratched'"), p.PersonsScratched}, {"bitten", casesOf("person_hurt = 'bitten'"), p.PersonsBitten},
		{"raised by the advisor", casesOf("recorded_rule_level > 0 AND level > recorded_rule_level"), p.OverridesUp}, {"lowered by the advisor", casesOf("level < recorded_rule_level"), p.OverridesDown},
		{"nothing assessed", casesOf("rule_level = 0"), p.NothingAssessed},
		{"told emergency", casesOf("level = 4"), p.ToldEmergency}, {"told same day or faster", casesOf("level >= 3"), p.ToldSameDayOrFaster},
	} {
		if x.got != x.want {
			t.Errorf("%s: %d, planted were %d", x.what, x.got, x.want)
		}
		if x.want == 0 && x.what != "calls that end before they begin" {
			t.Errorf("%s: none planted, nothing shown", x.what)
		}
	}
}

// storedLine opens the tables of a store, and counts the readings that vets took
// of animals nobody rang about.
func storedLine(t *testing.T, dir string) (*sql.DB, int64) {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	db := openDuck(t)
	views := map[string]string{"set_aside": resolve.AsideAsOf(s, s.Manifest.LastLoad())}
	for _, table := range []string{"calls", "checks"} {
		if views[table], err = resolve.AsOf(s, table, 0); err != nil {
			t.Fatal(err)
		}
	}
	views["cases"] = "SELECT * FROM read_parquet(['" + s.Paths(store.Cases, "")[0] + "'"
	for _, p := range s.Paths(store.Cases, "")[1:] {
		views["cases"] += ", '" + p + "'"
	}
	views["cases"] += "])"
	for name, query := range views {
		if _, err := db.Exec("CREATE VIEW " + name + " AS " + query); err != nil {
			t.Fatal(err)
		}
	}
	var orphans int64
	if err := db.QueryRow("SELECT count(*) FROM set_aside WHERE file LIKE 'outcomes-%' AND reason = 'orphan_check'").Scan(&orphans); err != nil {
		t.Fatal(err)
	}
	return db, orphans
}
