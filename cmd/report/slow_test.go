package main

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/cmd/report/internal/demoline"
	"hindcheck/pipeline"
	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/store"
)

// A slow count, row by row in Go, from the stored records to every count of
// report flags. It shares with the product the evaluators of rules and of the
// case definition (which their packages hold to their SQL), and nothing else:
// no case table, no grouping, no flag bits.

// slowCall is a stored call.
type slowCall struct {
	call, contact, episode, kind, level                                            string
	species, sex, neutered, breed, complaint                                       string
	zone                                                                           string
	started                                                                        time.Time
	age                                                                            sql.NullInt64
	animal, owner, advisor, site, contactKind, ruleLevel, ruleSet, hurt, safetyNet string
	seconds                                                                        sql.NullInt64
	readings                                                                       []slowReading
}

type slowReading struct {
	finding, state, reason, code, observer, handling string
	number                                           sql.NullFloat64
	seq                                              int
}

// slowEpisode is what the count needs of an episode.
type slowEpisode struct {
	opening *slowCall
	all     []*slowCall // in order of time
	local   time.Time   // the first contact on the local clock
	month   int
	started time.Time
	level   codes.Level
	record  rules.Record
	found   casedef.Result
}

// selectAll runs one plain SELECT over a stored table and scans every row.
func selectAll(t *testing.T, db *sql.DB, s *store.Snapshot, table, columns string, scan func(*sql.Rows) error) {
	t.Helper()
	from, err := resolve.AsOf(s, table, 0)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := db.Query("SELECT " + columns + " FROM (" + from + ")")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			t.Fatal(err)
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
}

// word makes a column readable as a string, blank for null.
func word(column string) string { return "coalesce(" + column + "::VARCHAR, '')" }

func words(columns ...string) (out string) {
	for i, c := range columns {
		if i > 0 {
			out += ", "
		}
		out += word(c)
	}
	return out
}

// readEpisodes finds each episode's first contact among the stored records.
func readEpisodes(t *testing.T, dir string) (*pipeline.Definitions, []slowEpisode) {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	defs, err := pipeline.StoredDefinitions(s)
	if err != nil {
		t.Fatal(err)
	}
	db, err := duck.Open(context.Background(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	calls := map[string]*slowCall{}
	byEpisode := map[string][]*slowCall{}
	selectAll(t, db, s, "calls", words("call", "contact", "episode", "contact_type", "level", "species", "sex", "neutered", "breed_group", "complaint", "zone",
		"animal", "owner", "advisor", "site", "contact_kind", "rule_level", "ruleset", "person_hurt", "safety_net")+", started_at, age_months, call_seconds", func(r *sql.Rows) error {
		c := &slowCall{}
		if err := r.Scan(&c.call, &c.contact, &c.episode, &c.kind, &c.level, &c.species, &c.sex, &c.neutered, &c.breed, &c.complaint, &c.zone,
			&c.animal, &c.owner, &c.advisor, &c.site, &c.contactKind, &c.ruleLevel, &c.ruleSet, &c.hurt, &c.safetyNet, &c.started, &c.age, &c.seconds); err != nil {
			return err
		}
		calls[c.call] = c
		if c.kind == "clinical" && c.episode != "" {
			byEpisode[c.episode] = append(byEpisode[c.episode], c)
		}
		return nil
	})
	selectAll(t, db, s, "checks", words("call", "finding", "state", "reason", "value_code", "observer", "handling")+", value_number, seq", func(r *sql.Rows) error {
		var call string
		var k slowReading
		if err := r.Scan(&call, &k.finding, &k.state, &k.reason, &k.code, &k.observer, &k.handling, &k.number, &k.seq); err != nil {
			return err
		}
		if c := calls[call]; c != nil {
			c.readings = append(c.readings, k)
		}
		return nil
	})
	outcomes := readOutcomes(t, db, s)
	var out []slowEpisode
	for id, list := range byEpisode {
		if calls[id] == nil {
			t.Fatalf("episode %s has no opening call", id)
		}
		out = append(out, firstContact(t, defs, calls[id], list, outcomes[id]))
	}
	return defs, out
}

func readOutcomes(t *testing.T, db *sql.DB, s *store.Snapshot) map[string][]casedef.Outcome {
	t.Helper()
	out := map[string][]casedef.Outcome{}
	selectAll(t, db, s, "outcomes", words("episode", "outcome", "practice", "source", "route", "vet_level", "disposition", "diagnosis_group", "euthanasia_reason",
		"independent", "no_attend_reason", "time_critical", "responded")+", seen_at, recorded_at, selection_p", func(r *sql.Rows) error {
		var o casedef.Outcome
		var episode, id, source, route, level, critical, responded string
		var recorded sql.NullTime
		var p sql.NullFloat64
		if err := r.Scan(&episode, &id, &o.Practice, &source, &route, &level, &o.Disposition, &o.DiagnosisGroup, &o.EuthanasiaReason, &o.Independent,
			&o.NoAttendReason, &critical, &responded, &o.SeenAt, &recorded, &p); err != nil {
			return err
		}
		copy(o.ID[:], id)
		o.Source, o.Route, o.VetLevel = codes.ParseSource(source), codes.ParseRoute(route), levelOf(t, level)
		tri := map[string]codes.Tri{"": codes.Unknown, "true": codes.Yes, "false": codes.No}
		o.TimeCritical, o.Responded, o.RecordedAt, o.SelectionP = tri[critical], tri[responded], recorded.Time, p.Float64
		if episode != "" {
			out[episode] = append(out[episode], o)
		}
		return nil
	})
	return out
}

func levelOf(t *testing.T, text string) codes.Level {
	t.Helper()
	if text == "" {
		return codes.NoLevel
	}
	l, err := codes.ParseLevel(text)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// firstContact puts together what was said, read and found: a transferred call
// is one contact under two numbers, its later record gives the advice, and the
// last reading that was done counts.
func firstContact(t *testing.T, defs *pipeline.Definitions, opening *slowCall, all []*slowCall, outcomes []casedef.Outcome) slowEpisode {
	t.Helper()
	zone := time.UTC
	if opening.zone != "" {
		var err error
		if zone, err = time.LoadLocation(opening.zone); err != nil {
			t.Fatal(err)
		}
	}
	local := opening.started.In(zone)
	e := slowEpisode{opening: opening, all: all, local: local, month: local.Year()*100 + int(local.Month()), started: opening.started}
	age := int32(-1)
	if opening.age.Valid {
		age = int32(opening.age.Int64)
	}
	dict := defs.Dictionary
	e.record = rules.Record{Species: opening.species, Sex: opening.sex, Neutered: opening.neutered, BreedGroup: opening.breed, Complaint: opening.complaint,
		AgeMonths: age, Values: slices.Repeat([]int32{codes.NotAsked}, len(dict.Findings))}
	slices.SortFunc(all, func(a, b *slowCall) int { return a.started.Compare(b.started) })
	places := make([]int, len(dict.Findings))
	for _, c := range all {
		if c.contact != opening.contact {
			continue
		}
		if l := levelOf(t, c.level); l.Valid() {
			e.level = l
		}
		for _, k := range c.readings {
			i := dict.Index(k.finding)
			if i < 0 || k.observer == "vet" {
				continue
			}
			place := k.seq
			if k.state == "done" {
				place += 100000
			}
			if place >= places[i] {
				number := math.NaN()
				if k.number.Valid {
					number = k.number.Float64
				}
				places[i], e.record.Values[i] = place, dict.Findings[i].Encode(k.state, k.reason, number, k.code)
			}
		}
	}
	e.found = defs.CaseDef.Eval(opening.started, outcomes)
	return e
}

// whyUnknown is the most telling state of the findings that a flag reads.
func whyUnknown(f *rules.Flag, dict *findings.Dictionary, values []int32) string {
	best := "animal_not_described"
	order := []string{"declined", "not_possible", "unreadable", "stopped_early", "not_asked", "animal_not_described"}
	for _, c := range f.All {
		i := dict.Index(c.Finding)
		state := codes.NotAssessedNames[values[i]]
		if o, ok := dict.Findings[i].Option(values[i]); ok && o.Unreadable {
			state = "unreadable"
		}
		if state != "" && slices.Index(order, state) < slices.Index(order, best) {
			best = state
		}
	}
	return best
}

// countSlowly counts every flag over a period, into the paths of the JSON.
func countSlowly(set *rules.Set, program *rules.Program, dict *findings.Dictionary, all []slowEpisode, cut codes.Level, from, to int, mature time.Time) map[string]float64 {
	n := map[string]float64{}
	var res rules.Result
	for i := range all {
		e := &all[i]
		if e.month < from || e.month > to {
			continue
		}
		program.Eval(&e.record, &res)
		fired := 0
		for f := range set.Flags {
			if rules.Bit(res.Fired, f) {
				fired++
			}
		}
		need := e.found.NeedSameDay
		if cut == codes.Emergency {
			need = e.found.NeedEmergency
		}
		needWord := map[codes.Tri]string{codes.Yes: "needed", codes.No: "not_needed", codes.Unknown: "unverified"}[need]
		escalated := map[bool]string{true: "yes", false: "no"}[e.level.AtLeast(cut)]
		for f := range set.Flags {
			side := "absent"
			switch {
			case rules.Bit(res.Fired, f):
				side = "present"
			case rules.Bit(res.Unknown, f):
				side = "not_assessed"
			}
			at := func(format string, args ...any) { n[set.Flags[f].ID+fmt.Sprintf(format, args...)]++ }
			at("/escalated/%s/%s", side, escalated)
			if side == "present" {
				at("/escalated/%s/%s", map[bool]string{true: "present_alone", false: "present_with_others"}[fired == 1], escalated)
			}
			cell := map[string]string{"present needed": "tp", "present not_needed": "fp", "absent needed": "fn", "absent not_needed": "tn"}[side+" "+needWord]
			switch {
			case !e.started.Before(mature):
				at("/counts/pending/%s", side)
			case side == "not_assessed":
				at("/counts/not_assessed/%s/%s", whyUnknown(&set.Flags[f], dict, e.record.Values), needWord)
			case need == codes.Unknown:
				at("/counts/unverified/%s", side)
			default:
				at("/counts/verified/%s", cell)
				at("/counts/by_route/%s/%s", e.found.Route, cell)
			}
		}
	}
	return n
}

// flatten lists the numbers of a JSON value by their paths, zeros left out.
func flatten(path string, v any, into map[string]float64) {
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			flatten(path+"/"+k, x, into)
		}
	case float64:
		if v != 0 {
			into[path] = v
		}
	}
}

func TestEveryCountOfFlagsByHand(t *testing.T) {
	line := filepath.Join(t.TempDir(), "demo")
	if _, err := demoline.Make(context.Background(), demoline.Options{Dir: line, Seed: 3, Calls: 3000, Threads: 2, Software: "test", Progress: func(string, int64) {}}); err != nil {
		t.Fatal(err)
	}
	dir := demoline.Store(line)
	defs, episodes := readEpisodes(t, dir)
	program, err := rules.Compile(defs.Rules, defs.Dictionary)
	if err != nil {
		t.Fatal(err)
	}
	for _, cut := range []codes.Level{codes.SameDay, codes.Emergency} {
		var got struct {
			Period struct{ From, To string }
			AsOf   struct {
				DataCut time.Time `json:"data_cut"`
			} `json:"as_of"`
			Flags []map[string]any
		}
		// To the last month, so that some episodes are not mature.
		out := run(t, "flags", "--store", dir, "--format", "json", "--cut", cut.String(), "--from", "2025-08", "--to", "2026-10")
		if err := json.Unmarshal([]byte(out), &got); err != nil {
			t.Fatal(err)
		}
		if got.Period.From != "2025-08" || got.Period.To != "2026-10" || len(got.Flags) != len(defs.Rules.Flags) {
			t.Fatalf("period %v, %d flags", got.Period, len(got.Flags))
		}
		mature := got.AsOf.DataCut.Add(-defs.CaseDef.Window() - 45*24*time.Hour)
		want := countSlowly(defs.Rules, program, defs.Dictionary, episodes, cut, 202508, 202610, mature)
		have := map[string]float64{}
		for _, f := range got.Flags {
			flatten(f["flag"].(string)+"/counts", f["counts"], have)
			flatten(f["flag"].(string)+"/escalated", f["escalated"], have)
		}
		compareCells(t, cut, have, want)
	}
}

// compareCells compares cell by cell and asks that every kind of cell occurs.
func compareCells(t *testing.T, cut codes.Level, have, want map[string]float64) {
	t.Helper()
	keys := map[string]bool{}
	total := map[string]float64{}
	for k := range have {
		keys[k] = true
	}
	for k, n := range want {
		keys[k] = true
		parts := strings.Split(k, "/")
		total[parts[1]+"/"+parts[2]] += n
	}
	wrong := 0
	for k := range keys {
		if have[k] != want[k] {
			if wrong++; wrong <= 20 {
				t.Errorf("%v: %s: report says %v, counted %v", cut, k, have[k], want[k])
			}
		}
	}
	for _, kind := range []string{"counts/verified", "counts/by_route", "counts/unverified", "counts/pending", "counts/not_assessed",
		"escalated/present", "escalated/present_alone", "escalated/present_with_others", "escalated/absent", "escalated/not_assessed"} {
		if total[kind] == 0 {
			t.Errorf("%v: no episode in %s: the test compares nothing there", cut, kind)
		}
	}
	t.Logf("%v: %d cells compared, %d differ; %v", cut, len(keys), wrong, total)
}
