package main

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"hindcheck/cmd/report/internal/demoline"
	"hindcheck/pipeline"
	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/store"
)

// Every case of the demonstration line, put together row by row in Go from the
// stored calls, checks and outcomes, equals the stored one, column by column.
func TestEveryCaseByHand(t *testing.T) {
	line := filepath.Join(t.TempDir(), "demo")
	if _, err := demoline.Make(context.Background(), demoline.Options{Dir: line, Seed: 8, Calls: 3000, Threads: 2, Software: "test", Progress: func(string, int64) {}}); err != nil {
		t.Fatal(err)
	}
	defs, episodes := readEpisodes(t, demoline.Store(line))
	program, err := rules.Compile(defs.Rules, defs.Dictionary)
	if err != nil {
		t.Fatal(err)
	}
	columns, stored := storedCases(t, demoline.Store(line))
	if len(stored) != len(episodes) || len(stored) < 2000 {
		t.Fatalf("%d cases are stored, %d were put together", len(stored), len(episodes))
	}
	differ := map[string]int{}
	filled := map[string]bool{}
	for i := range episodes {
		want := slowCase(defs, program, &episodes[i])
		got := stored[episodes[i].opening.call]
		if got == nil || len(want) != len(columns) {
			t.Fatalf("case of %s: stored %v; %d columns put together, %d stored", episodes[i].opening.call, got != nil, len(want), len(columns))
		}
		for k, name := range columns {
			w, ok := want[name]
			if !ok {
				t.Fatalf("column %s is stored, and nothing here puts it together", name)
			}
			filled[name] = filled[name] || w != "" && w != "-1" && w != "0" && w != "false"
			if got[k] != w {
				if differ[name]++; differ[name] <= 3 {
					t.Errorf("case of %s: %s is %q, by hand %q", episodes[i].opening.call, name, got[k], w)
				}
			}
		}
	}
	for _, name := range columns {
		if differ[name] > 3 {
			t.Errorf("%s differs in %d cases", name, differ[name])
		}
		if !filled[name] {
			t.Logf("%s is blank in every case", name)
		}
	}
	if len(filled) < 80 {
		t.Errorf("%d columns compared", len(filled))
	}
}

// storedCases reads every case as words, by the call that opened it.
func storedCases(t *testing.T, dir string) (columns []string, by map[string][]string) {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	db, err := duck.Open(context.Background(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	from := "read_parquet(" + duck.FileList(s.Paths(store.Cases, "")) + ", hive_partitioning = false)"
	rows, err := db.Query("SELECT column_name FROM (DESCRIBE SELECT * FROM " + from + ")")
	if err != nil {
		t.Fatal(err)
	}
	scan(t, rows, func() []any {
		columns = append(columns, "")
		return []any{&columns[len(columns)-1]}
	})
	exprs := words(columns...)
	exprs = strings.Replace(exprs, word("started_at"), "epoch_us(started_at)::VARCHAR", 1)
	if rows, err = db.Query("SELECT " + exprs + " FROM " + from); err != nil {
		t.Fatal(err)
	}
	by = map[string][]string{}
	var all [][]string
	scan(t, rows, func() []any {
		row := make([]string, len(columns))
		all = append(all, row)
		into := make([]any, len(row))
		for i := range row {
			into[i] = &row[i]
		}
		return into
	})
	call := slices.Index(columns, "call")
	for _, row := range all {
		by[row[call]] = row
	}
	return columns, by
}

func scan(t *testing.T, rows *sql.Rows, next func() []any) {
	t.Helper()
	defer rows.Close()
	for rows.Next() {
		if err := rows.Scan(next()...); err != nil {
			t.Fatal(err)
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
}

// slowCase puts one case together, as words, blank for null.
func slowCase(defs *pipeline.Definitions, program *rules.Program, e *slowEpisode) map[string]string {
	o := e.opening
	n := func(v any) string { return fmt.Sprintf("%d", v) }
	out := map[string]string{
		"episode": o.episode, "call": o.call, "animal": o.animal, "owner": o.owner, "advisor": o.advisor, "site": o.site,
		"species": o.species, "breed_group": o.breed, "sex": o.sex, "neutered": o.neutered, "complaint": o.complaint, "age_months": "",
		"started_at": n(o.started.UnixMicro()), "month": n(e.month), "local_hour": n(e.local.Hour()), "weekday": n((int(e.local.Weekday())+6)%7 + 1),
		"level": n(e.level),
	}
	if o.age.Valid {
		out["age_months"] = n(o.age.Int64)
	}
	slowContacts(e, out)
	var res rules.Result
	program.Eval(&e.record, &res)
	out["rule_low"], out["rule_level"], out["rule_high"] = n(res.Low), n(res.Level), n(res.High)
	for i := range res.Fired {
		out[fmt.Sprintf("fired_%d", i)], out[fmt.Sprintf("unknown_%d", i)] = n(res.Fired[i]), n(res.Unknown[i])
	}
	for i, v := range e.record.Values {
		out[defs.Dictionary.Findings[i].Column()] = n(v)
	}
	slowFound(&e.found, out)
	return out
}

// slowContacts fills what the contacts of an episode say: of the first one,
// under however many numbers, and of those that followed.
func slowContacts(e *slowEpisode, out map[string]string) {
	o := e.opening
	hurt := []string{"", "none", "scratched", "bitten"}
	handling := []string{"", "free", "held", "wrapped", "refused"}
	var ruleSet, safetyNet string
	var worstHurt, worstHandling, contacts int
	var recorded, later codes.Level
	var seconds int64
	again, timed := false, false
	seen := map[string]bool{}
	for _, c := range e.all {
		if !seen[c.contact] {
			seen[c.contact] = true
			contacts++
		}
		level, _ := codes.ParseLevel(c.level)
		if c.contact != o.contact {
			later = max(later, level)
			again = again || c.contactKind == "re_contact" && !c.started.After(o.started.Add(24*time.Hour))
			continue
		}
		if l, err := codes.ParseLevel(c.ruleLevel); err == nil {
			recorded = l
		}
		if c.ruleSet != "" {
			ruleSet = c.ruleSet
		}
		worstHurt = max(worstHurt, slices.Index(hurt, c.hurt))
		if c.safetyNet != "" && safetyNet != "true" {
			safetyNet = c.safetyNet
		}
		if c.seconds.Valid {
			seconds, timed = seconds+c.seconds.Int64, true
		}
		for _, k := range c.readings {
			if k.observer != "vet" {
				worstHandling = max(worstHandling, slices.Index(handling, k.handling))
			}
		}
	}
	out["ruleset"], out["recorded_rule_level"], out["later_level"] = ruleSet, fmt.Sprintf("%d", recorded), fmt.Sprintf("%d", later)
	out["contacts"], out["recontact_24h"], out["handling"] = strconv.Itoa(contacts), strconv.FormatBool(again), handling[worstHandling]
	out["person_hurt"], out["safety_net"], out["call_seconds"] = hurt[worstHurt], safetyNet, ""
	if timed {
		out["call_seconds"] = strconv.FormatInt(seconds, 10)
	}
}

// slowFound fills what the case definition makes of the outcomes.
func slowFound(f *casedef.Result, out map[string]string) {
	for name, v := range map[string]any{
		"route": f.Route, "outcome_source": f.Source, "vet_level": f.VetLevel, "independent": f.Independent,
		"comp_level_emergency": f.LevelEmergency, "comp_level_same_day": f.LevelSameDay, "comp_admitted": f.Admitted, "comp_surgery": f.Surgery,
		"comp_time_critical": f.TimeCritical, "comp_death": f.Death, "comp_euthanasia": f.Euthanised,
		"need_emergency": f.NeedEmergency, "need_same_day": f.NeedSameDay, "attended": f.Attended, "outcomes": f.Outcomes, "conflicts": f.Conflicts,
	} {
		out[name] = fmt.Sprintf("%d", v)
	}
	out["practice"], out["disposition"], out["euthanasia_reason"] = f.Practice, f.Disposition, f.EuthanasiaReason
	out["diagnosis_group"], out["no_attend_reason"] = f.DiagnosisGroup, f.NoAttendReason
	out["audit_selected"], out["audit_responded"], out["died"] = strconv.FormatBool(f.AuditSelected), strconv.FormatBool(f.AuditResponded), strconv.FormatBool(f.Died)
	out["outcome_minutes"], out["audit_p"] = "", ""
	if f.Minutes >= 0 {
		out["outcome_minutes"] = fmt.Sprintf("%d", f.Minutes)
	}
	if f.AuditP > 0 {
		out["audit_p"] = strconv.FormatFloat(f.AuditP, 'g', -1, 64)
	}
}
