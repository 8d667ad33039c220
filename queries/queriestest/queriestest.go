// Package queriestest makes small databases for tests: the tables that
// package queries reads, with every column of the store's contract and only
// the values that a test cares about.
package queriestest

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"hindcheck/pipeline/duck"
	"hindcheck/queries"
)

// Row gives the columns of one row that are not the defaults.
type Row map[string]any

// caseColumns are the columns of cases but for flag words and findings.
const caseColumns = `episode UUID, call UUID, animal UUID, owner UUID, advisor UUID, site VARCHAR, practice VARCHAR,
species VARCHAR, breed_group VARCHAR, sex VARCHAR, neutered VARCHAR, age_months INTEGER, complaint VARCHAR,
started_at TIMESTAMP, month INTEGER, local_hour TINYINT, weekday TINYINT, ruleset VARCHAR, recorded_rule_level TINYINT,
level TINYINT, later_level TINYINT, contacts SMALLINT, recontact_24h BOOLEAN,
rule_low TINYINT, rule_level TINYINT, rule_high TINYINT,
handling VARCHAR, person_hurt VARCHAR, safety_net BOOLEAN, call_seconds INTEGER,
route TINYINT, outcome_source TINYINT, outcome_minutes INTEGER, vet_level TINYINT, disposition VARCHAR,
euthanasia_reason VARCHAR, diagnosis_group VARCHAR, independent TINYINT,
comp_level_emergency TINYINT, comp_level_same_day TINYINT, comp_admitted TINYINT, comp_surgery TINYINT,
comp_time_critical TINYINT, comp_death TINYINT, comp_euthanasia TINYINT,
need_emergency TINYINT, need_same_day TINYINT, attended TINYINT, no_attend_reason VARCHAR,
audit_selected BOOLEAN, audit_p DOUBLE, audit_responded BOOLEAN, outcomes SMALLINT, conflicts SMALLINT, died BOOLEAN`

const otherTables = `
CREATE TABLE calls (call UUID, contact UUID, episode UUID, contact_type VARCHAR, contact_kind VARCHAR, episode_month INTEGER, started_at TIMESTAMP, ended_at TIMESTAMP,
  animal UUID, owner UUID, advisor UUID, site VARCHAR, species VARCHAR, breed_group VARCHAR, sex VARCHAR, neutered VARCHAR, age_months INTEGER, weight_kg DOUBLE, complaint VARCHAR,
  level VARCHAR, rule_level VARCHAR, ruleset VARCHAR, override_reason VARCHAR, safety_net BOOLEAN, call_seconds INTEGER,
  person_hurt VARCHAR, formal_complaint VARCHAR);
CREATE TABLE checks (call UUID, finding VARCHAR, handling VARCHAR, state VARCHAR, reason VARCHAR, episode_month INTEGER, seq SMALLINT, observer VARCHAR, setting VARCHAR, animal_state VARCHAR,
  value_code VARCHAR, value_number DOUBLE, number_given DOUBLE, unit_given VARCHAR, count SMALLINT, window_s SMALLINT, asked_at TIMESTAMP);
CREATE TABLE outcomes (outcome UUID, call UUID, animal UUID, episode UUID, episode_month INTEGER, practice VARCHAR, source VARCHAR, route VARCHAR, seen_at TIMESTAMP, recorded_at TIMESTAMP,
  vet_level VARCHAR, disposition VARCHAR, diagnosis_group VARCHAR, independent VARCHAR, match_score DOUBLE, euthanasia_reason VARCHAR, no_attend_reason VARCHAR, treatment_begun BOOLEAN,
  selection_p DOUBLE, responded BOOLEAN, reviewer UUID, foreseeable VARCHAR, avoidable VARCHAR, review_reason VARCHAR);
CREATE TABLE coverage (feed VARCHAR, from_date DATE, to_date DATE, delivered_at TIMESTAMP, "rows" BIGINT);
CREATE TABLE set_aside (file VARCHAR, "row" BIGINT, "column" VARCHAR, reason VARCHAR, kind VARCHAR, expected VARCHAR, remedy VARCHAR);`

// caseDefaults are an uneventful episode without outcome: not one value is
// null by accident.
var caseDefaults = Row{
	"site": "north", "species": "dog", "level": 1, "later_level": 0, "rule_low": 1, "rule_level": 1, "rule_high": 1,
	"contacts": 1, "recontact_24h": false, "person_hurt": "none", "route": 0, "outcome_source": 0, "vet_level": 0,
	"independent": -1, "comp_level_emergency": -1, "comp_level_same_day": -1, "comp_admitted": -1, "comp_surgery": -1,
	"comp_time_critical": -1, "comp_death": -1, "comp_euthanasia": -1, "need_emergency": -1, "need_same_day": -1,
	"attended": -1, "audit_selected": false, "audit_responded": false, "outcomes": 0, "conflicts": 0, "died": false,
}

// ID makes a readable UUID of a small number.
func ID(n int) string { return fmt.Sprintf("00000000-0000-0000-0000-%012d", n) }

// Open makes the tables and closes them when the test ends. It returns the
// database too, for tests that fill tables by SQL.
func Open(t testing.TB, meta queries.Meta) (*queries.DB, *sql.DB) {
	t.Helper()
	ctx := context.Background()
	db, err := duck.Open(ctx, duck.Options{Threads: 2, MemoryMB: 8000, TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	cols := caseColumns
	for w := range (len(meta.Flags) + 63) / 64 {
		cols += fmt.Sprintf(", fired_%d UBIGINT, unknown_%d UBIGINT", w, w)
	}
	for _, f := range meta.Findings {
		cols += fmt.Sprintf(", f_%s SMALLINT", f.ID)
	}
	if _, err := db.ExecContext(ctx, "CREATE TABLE cases ("+cols+"); CREATE TABLE stored_cases ("+cols+");"+otherTables); err != nil {
		t.Fatal(err)
	}
	d, err := queries.New(db, meta)
	if err != nil {
		t.Fatal(err)
	}
	return d, db
}

// Case adds an episode. "n" numbers it; "flags" gives a letter a flag, + fired,
// - ruled out, ? unknown; findings that are not given were not asked; the
// month is that of started_at, a time.Time.
func Case(t testing.TB, db *sql.DB, meta queries.Meta, row Row) {
	t.Helper()
	full := maps.Clone(caseDefaults)
	for _, f := range meta.Findings {
		full["f_"+f.ID] = -1
	}
	for w := range (len(meta.Flags) + 63) / 64 {
		full[fmt.Sprintf("fired_%d", w)] = uint64(0)
		full[fmt.Sprintf("unknown_%d", w)] = uint64(0)
	}
	for k, v := range row {
		full[k] = v
	}
	if n, ok := row["n"].(int); ok {
		full["episode"], full["call"] = ID(n), ID(100+n)
		delete(full, "n")
	}
	if s, ok := row["flags"].(string); ok {
		if len(s) != len(meta.Flags) {
			t.Fatalf("%d letters for %d flags", len(s), len(meta.Flags))
		}
		for i := range len(s) {
			name := map[byte]string{'+': "fired", '?': "unknown"}[s[i]]
			if name != "" {
				key := fmt.Sprintf("%s_%d", name, i/64)
				full[key] = full[key].(uint64) | 1<<(i%64)
			}
		}
		delete(full, "flags")
	}
	if at, ok := row["started_at"].(time.Time); ok {
		full["month"] = at.Year()*100 + int(at.Month())
	}
	Insert(t, db, "cases", full)
}

// Insert adds one row to any table.
func Insert(t testing.TB, db *sql.DB, table string, row Row) {
	t.Helper()
	var cols, marks []string
	var args []any
	for _, k := range slices.Sorted(maps.Keys(row)) {
		v := row[k]
		if word, ok := v.(uint64); ok {
			v = strconv.FormatUint(word, 10) // database/sql refuses the highest bit
		}
		cols, marks, args = append(cols, `"`+k+`"`), append(marks, "?"), append(args, v)
	}
	stmt := fmt.Sprintf("INSERT INTO %s (%s) VALUES (%s)", table, strings.Join(cols, ", "), strings.Join(marks, ", "))
	if _, err := db.Exec(stmt, args...); err != nil {
		t.Fatalf("%s: %v", stmt, err)
	}
}
