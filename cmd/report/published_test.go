package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"hindcheck/cmd/report/internal/demoline"
	"hindcheck/pipeline/duck"
	"hindcheck/queries"
)

// published is a release of a small line with what the tests know about both.
type published struct {
	store, dir, seed, privacy string
	// rows of each table by name, cells by column.
	tables map[string][]map[string]string
	header map[string][]string
	risk   map[string]any
}

// TestRelease publishes a small invented line once and judges the release from
// outside: as an attacker, as a researcher, and with programs that share no code
// with the one that wrote it.
func TestRelease(t *testing.T) {
	line := filepath.Join(t.TempDir(), "demo")
	if _, err := demoline.Make(context.Background(), demoline.Options{Dir: line, Seed: 3, Calls: 6000, Threads: 2, Software: "test", Progress: func(string, int64) {}}); err != nil {
		t.Fatal(err)
	}
	p := &published{store: demoline.Store(line), dir: filepath.Join(t.TempDir(), "open"), seed: "for this test only"}
	p.privacy = filepath.Join(line, "privacy.yaml")
	text, err := os.ReadFile(p.privacy)
	if err != nil {
		t.Fatal(err)
	}
	// So small a line reaches 5 persons without losing anything that the review
	// reads; the built-in target is tried on the larger one by hand.
	small := strings.NewReplacer("k: 10,", "k: 5,", "levels: [month, quarter, half_year, year]", "levels: [quarter, half_year, year]", "site:        {weight: 6, levels: [recorded, all]}", "site: {weight: 6, levels: [recorded]}").Replace(string(text))
	if err := os.WriteFile(p.privacy, []byte(small), 0o600); err != nil {
		t.Fatal(err)
	}
	var o, e bytes.Buffer
	if status := Run(context.Background(), []string{"publish", p.dir, "--store", p.store, "--seed", p.seed, "--privacy", p.privacy, "--quiet"}, nil, strings.NewReader(""), &o, &e); status != 0 {
		t.Fatalf("publish: status %d: %s", status, e.String())
	}
	if !strings.Contains(e.String(), "--seed") {
		t.Errorf("no warning about the seed: %q", e.String())
	}
	p.read(t)
	t.Run("outside register", p.attackWithRegister)
	t.Run("figures", p.recountFigures)
	t.Run("flags", p.recountFlags)
	t.Run("every question", p.everyQuestion)
	t.Run("descriptor", p.descriptor)
	t.Run("nothing of the source", p.nothingOfTheSource)
	t.Run("readers", p.otherReaders)
	t.Run("R", p.readWithR)
	t.Run("two releases", p.oneRowApart)
}

// read reads every table from its CSV.
func (p *published) read(t *testing.T) {
	t.Helper()
	p.tables, p.header = map[string][]map[string]string{}, map[string][]string{}
	for _, name := range []string{"episodes", "flags", "findings", "calls", "checks", "outcomes", "coverage", "set_aside"} {
		f, err := os.Open(filepath.Join(p.dir, "data", name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(f).ReadAll()
		if err := errors.Join(err, f.Close()); err != nil || len(rows) < 2 {
			t.Fatalf("%s: %d rows, %v", name, len(rows), err)
		}
		p.header[name] = rows[0]
		for _, r := range rows[1:] {
			m := map[string]string{}
			for i, v := range r {
				m[rows[0][i]] = v
			}
			p.tables[name] = append(p.tables[name], m)
		}
	}
	readJSON(t, filepath.Join(p.dir, "risk.json"), &p.risk)
}

func readJSON(t *testing.T, path string, v any) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, v); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
}

// key makes a published key again, which only a test can, from the seed.
func (p *published) key(kind, id string) string {
	sum := sha256.Sum256([]byte(p.seed + kind + id))
	return hex.EncodeToString(sum[:])[:24]
}

// registerEntry is what an outsider holds of one contact of an animal: no more
// than could be seen from outside, but exactly.
type registerEntry struct {
	species, breed, sex, neutered, site, complaint string
	age                                            int64
	week                                           time.Time // its Monday
	person, published                              string
}

// outsideRegister is made from the source itself: the best register there can be.
func (p *published) outsideRegister(t *testing.T) []registerEntry {
	t.Helper()
	db, err := queries.Open(context.Background(), p.store, queries.OpenOptions{Threads: 2})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.SQL().Query(`SELECT episode::VARCHAR, coalesce(owner, animal, episode)::VARCHAR, coalesce(species, ''), coalesce(breed_group, ''), coalesce(sex, ''), coalesce(neutered, ''),
  coalesce(site, ''), coalesce(complaint, ''), coalesce(age_months, -1), date_trunc('week', started_at)::TIMESTAMP FROM cases`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var out []registerEntry
	for rows.Next() {
		var e registerEntry
		var episode string
		if err := rows.Scan(&episode, &e.person, &e.species, &e.breed, &e.sex, &e.neutered, &e.site, &e.complaint, &e.age, &e.week); err != nil {
			t.Fatal(err)
		}
		e.published = p.key("episode", episode)
		out = append(out, e)
	}
	return out
}

// couldBe reports whether a published row may be that of a register's entry.
func (e registerEntry) couldBe(r map[string]string, rare func(column, value string) bool) bool {
	for column, v := range map[string]string{"species": e.species, "breed_group": e.breed, "sex": e.sex, "neutered": e.neutered, "site": e.site} {
		got := r[column]
		if got != "suppressed" && got != v && !(got == "other_rare" && rare(column, v)) {
			return false
		}
	}
	return inBand(r["age"], e.age) && inPeriod(r["period"], e.week)
}

func inBand(band string, age int64) bool {
	if band == "suppressed" || age < 0 {
		return band == "suppressed" || band == ""
	}
	low, high, ok := strings.Cut(strings.TrimSuffix(band, "+"), "-")
	from, err := strconv.ParseInt(low, 10, 64)
	to := int64(math.MaxInt64)
	if ok {
		to, _ = strconv.ParseInt(high, 10, 64)
	}
	return err == nil && age >= from && age <= to
}

// inPeriod reports whether a day of the week lies in a published period. A week
// may lie in two months; the local clock may be a day off.
func inPeriod(period string, week time.Time) bool {
	if period == "suppressed" {
		return true
	}
	from, to, ok := strings.Cut(period, "/")
	if !ok {
		to = from
	}
	for _, day := range []int{-1, 0, 7} {
		m := week.AddDate(0, 0, day).Format("2006-01")
		if m >= from && m <= to {
			return true
		}
	}
	return false
}

// attackWithRegister links the release to the outside register. Nobody's row may
// be picked out with a chance above 1/k: for every entry there must be at least k
// rows of different persons that could be it, the right one among them.
func (p *published) attackWithRegister(t *testing.T) {
	register := p.outsideRegister(t)
	k := int(p.risk["target_k"].(float64))
	kept := map[string]map[string]bool{}
	person := map[string]string{}
	for _, e := range register {
		person[e.published] = e.person
	}
	for _, r := range p.tables["episodes"] {
		for column, v := range r {
			if kept[column] == nil {
				kept[column] = map[string]bool{}
			}
			kept[column][v] = true
		}
	}
	rare := func(column, value string) bool { return !kept[column][value] }
	// Rows that look the same are tried once.
	classes := map[string][]string{}
	sample := map[string]map[string]string{}
	columns := []string{"species", "breed_group", "sex", "neutered", "age", "site", "period", "complaint", "hours", "ruleset", "mature"}
	for _, r := range p.tables["episodes"] {
		look := ""
		for _, c := range columns {
			look += r[c] + "|"
		}
		classes[look] = append(classes[look], r["episode"])
		sample[look] = r
	}
	least, attacked := math.MaxInt, 0
	for i, e := range register {
		if i%3 != 0 {
			continue // a third of the register is enough for this test
		}
		candidates, found := map[string]bool{}, false
		for look, keys := range classes {
			if !e.couldBe(sample[look], rare) {
				continue
			}
			for _, key := range keys {
				candidates[person[key]] = true
				found = found || key == e.published
			}
		}
		if !found {
			t.Fatalf("the register's entry %+v does not lead to its own row: the attack is wrong", e)
		}
		attacked++
		least = min(least, len(candidates))
	}
	if least < k {
		t.Errorf("an entry leads to %d persons only, expected %d", least, k)
	}
	// Somebody who also knows complaint and hour has nothing but the class.
	for look, keys := range classes {
		persons := map[string]bool{}
		for _, key := range keys {
			persons[person[key]] = true
		}
		if len(persons) < k {
			t.Errorf("%d persons behind %s", len(persons), look)
		}
	}
	owners := map[string][]string{}
	for _, r := range p.tables["episodes"] {
		owners[r["owner"]] = append(owners[r["owner"]], person[r["episode"]])
	}
	for key, list := range owners {
		if len(slices.Compact(slices.Sorted(slices.Values(list)))) != 1 {
			t.Errorf("the key %s stands for several persons", key)
		}
	}
	t.Logf("%d entries attacked, at least %d persons each; %d combinations", attacked, least, len(classes))
}

// statedError is what the methods note promises for a section.
func (p *published) statedError(t *testing.T, section string) float64 {
	t.Helper()
	for _, s := range p.risk["differences_from_source"].(map[string]any)["sections"].([]any) {
		if m := s.(map[string]any); m["section"] == section {
			return m["largest"].(float64)
		}
	}
	t.Fatalf("no stated error for %s", section)
	return 0
}

// inReview is whether a published row belongs to the reviewed period.
func (p *published) inReview(t *testing.T) func(map[string]string) bool {
	t.Helper()
	meta, err := queries.ReadPublished(p.dir)
	if err != nil {
		t.Fatal(err)
	}
	return func(r map[string]string) bool {
		from, _, _ := strings.Cut(r["period"], "/")
		return r["mature"] == "true" && from >= meta.From && from <= meta.To
	}
}

// recountFigures counts the headline anew from the CSV, row by row in Go, and
// holds the naive figures to those that the source gives.
func (p *published) recountFigures(t *testing.T) {
	var source struct {
		Advice []struct {
			Cut   string
			Naive map[string]json.RawMessage
		}
	}
	if err := json.Unmarshal([]byte(run(t, "monthly", "--store", p.store, "--format", "json")), &source); err != nil {
		t.Fatal(err)
	}
	in, stated := p.inReview(t), p.statedError(t, "advice")
	compared := 0
	for _, s := range source.Advice {
		var tp, fp, fn, tn float64
		for _, r := range p.tables["episodes"] {
			if !in(r) || r["level"] == "" {
				continue
			}
			up := r["level"] == "emergency" || s.Cut == "same_day" && r["level"] == "same_day"
			switch need := r["need_"+s.Cut]; {
			case need == "yes" && up:
				tp++
			case need == "yes":
				fn++
			case need == "no" && up:
				fp++
			case need == "no":
				tn++
			}
		}
		for name, got := range map[string]float64{"sensitivity": tp / (tp + fn), "specificity": tn / (tn + fp), "ppv": tp / (tp + fp), "npv": tn / (tn + fn)} {
			var want struct{ Estimate *float64 }
			if err := json.Unmarshal(s.Naive[name], &want); err != nil || want.Estimate == nil {
				t.Fatalf("%s at %s: %v", name, s.Cut, err)
			}
			if math.Abs(got-*want.Estimate) > stated+1e-9 {
				t.Errorf("%s at %s: %v from the release, %v from the source, stated error %v", name, s.Cut, got, *want.Estimate, stated)
			}
			compared++
		}
	}
	if compared != 8 || stated > 0.05 {
		t.Errorf("%d figures compared, stated error %v", compared, stated)
	}
}

// recountFlags does the same for every flag; four in five must agree within one
// point of a hundred, and all within the stated error.
func (p *published) recountFlags(t *testing.T) {
	in, stated := p.inReview(t), p.statedError(t, "flags")
	flags := map[string]map[string]string{}
	for _, r := range p.tables["flags"] {
		flags[r["episode"]] = r
	}
	near, compared := 0, 0
	for _, cut := range []string{"same_day", "emergency"} {
		var source struct {
			Flags []struct {
				Flag  string
				Naive struct{ Sensitivity, Specificity struct{ Estimate *float64 } }
			}
		}
		if err := json.Unmarshal([]byte(run(t, "flags", "--store", p.store, "--format", "json", "--cut", cut)), &source); err != nil {
			t.Fatal(err)
		}
		for _, f := range source.Flags {
			cells := map[string]float64{}
			for _, r := range p.tables["episodes"] {
				if in(r) {
					cells[flags[r["episode"]][f.Flag]+" "+r["need_"+cut]]++
				}
			}
			for _, x := range []struct {
				name        string
				want        *float64
				right, rest string
			}{{"sensitivity", f.Naive.Sensitivity.Estimate, "present yes", "absent yes"}, {"specificity", f.Naive.Specificity.Estimate, "absent no", "present no"}} {
				if x.want == nil {
					continue
				}
				compared++
				d := math.Abs(cells[x.right]/(cells[x.right]+cells[x.rest]) - *x.want)
				if d <= 0.01 {
					near++
				}
				if !(d <= stated+1e-9) {
					t.Errorf("%s of %s at %s: off by %v, stated error %v", x.name, f.Flag, cut, d, stated)
				}
			}
		}
	}
	if compared < 100 || float64(near) < 0.8*float64(compared) {
		t.Errorf("%d of %d figures of flags within 0.01", near, compared)
	}
	t.Logf("%d of %d figures of flags within 0.01; stated error %v", near, compared, stated)
}

// coarser are the questions whose answer from a release may differ, because
// they show what was coarsened: properties of the animal, months, times, keys.
var coarser = []string{"advice_groups", "code_shares", "feed_coverage", "levels_apart", "missed_cases", "months", "subgroups", "usual_checks", "check_handling", "person_hurt_calls",
	"flag_tables", "unit_counts", "not_attended", "person_hurt", "process_by_month", "threshold_values", "tune_patterns"}

// everyQuestion asks every question of source and release: the same answer, or
// one that is known to be coarser, or a refusal that says why.
func (p *published) everyQuestion(t *testing.T) {
	ctx := context.Background()
	source, err := queries.Open(ctx, p.store, queries.OpenOptions{Threads: 2})
	if err != nil {
		t.Fatal(err)
	}
	defer source.Close()
	release, err := queries.OpenPublished(ctx, p.dir, queries.OpenOptions{Threads: 2})
	if err != nil {
		t.Fatal(err)
	}
	defer release.Close()
	meta, err := queries.ReadPublished(p.dir)
	if err != nil {
		t.Fatal(err)
	}
	all, err := queries.Questions()
	if err != nil {
		t.Fatal(err)
	}
	defaults := map[string]string{"from_month": meta.From, "to_month": meta.To, "mature_before": meta.MatureBefore.Format(time.RFC3339Nano), "cut": "same_day",
		"cluster": "animal", "finding": "capillary_refill_s", "threshold": "20", "scale": "10", "hours": "4"}
	outcome := map[string]int{}
	for _, q := range all {
		want, err := source.Run(ctx, q.Name, nil, defaults)
		if errors.Is(err, queries.ErrParameter) {
			outcome["needs more parameters"]++
			continue
		}
		if err != nil {
			t.Errorf("%s of the source: %v", q.Name, err)
			continue
		}
		got, err := release.Run(ctx, q.Name, nil, defaults)
		switch {
		case errors.Is(err, queries.ErrWithheld):
			outcome["refused"]++
			if !strings.Contains(err.Error(), q.Name) {
				t.Errorf("%s: refused without its name: %v", q.Name, err)
			}
		case err != nil:
			t.Errorf("%s of the release: %v", q.Name, err)
		case slices.Equal(texts(want), texts(got)):
			outcome["the same"]++
		case slices.Contains(coarser, q.Name):
			outcome["coarser"]++
		default:
			t.Errorf("%s: %d rows of the source, %d of the release, and they differ: name it in coarser, if it shows what was coarsened, or in queries/withheld.go, if the answer is wrong",
				q.Name, len(want.Rows), len(got.Rows))
		}
	}
	if outcome["the same"] < 20 {
		t.Errorf("%v: expected 20 questions with the same answer", outcome)
	}
	t.Logf("%v", outcome)
}

// texts are the rows in an order of their own.
func texts(q queries.Table) []string {
	out := make([]string, len(q.Rows))
	for i, r := range q.Rows {
		out[i] = fmt.Sprint(r...)
	}
	slices.Sort(out)
	return out
}

// descriptor holds the descriptor to the standard's rules and the tables to it.
func (p *published) descriptor(t *testing.T) {
	compiler := jsonschema.NewCompiler()
	schema, err := compiler.Compile(filepath.Join("testdata", "datapackage.schema.json"))
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(p.dir, "datapackage.json"))
	if err != nil {
		t.Fatal(err)
	}
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if err := schema.Validate(value); err != nil {
		t.Error(err)
	}
	var d struct {
		Resources []struct {
			Name, Path, Hash, Format string
			Bytes                    int64
			Schema                   struct {
				PrimaryKey    []string
				MissingValues []struct{ Value string }
				Fields        []struct {
					Name, Type    string
					Categories    []string
					MissingValues []struct{ Value string }
					Constraints   struct {
						Required, Unique bool
						Minimum, Maximum *float64
					}
				}
			}
		}
	}
	if err := json.Unmarshal(text, &d); err != nil {
		t.Fatal(err)
	}
	for _, r := range d.Resources {
		data, err := os.ReadFile(filepath.Join(p.dir, r.Path))
		sum := sha256.Sum256(data)
		if err != nil || int64(len(data)) != r.Bytes || r.Hash != "sha256:"+hex.EncodeToString(sum[:]) {
			t.Errorf("%s: %v, %d bytes, hash differs or size is not %d", r.Path, err, len(data), r.Bytes)
		}
		if r.Format != "csv" {
			continue
		}
		seen := map[string]map[string]bool{}
		for i, f := range r.Schema.Fields {
			if p.header[r.Name][i] != f.Name {
				t.Fatalf("%s: column %d is %s, described as %s", r.Name, i, p.header[r.Name][i], f.Name)
			}
			missing := r.Schema.MissingValues
			if f.MissingValues != nil {
				missing = f.MissingValues
			}
			none := map[string]bool{}
			for _, m := range missing {
				none[m.Value] = true
			}
			seen[f.Name] = map[string]bool{}
			for _, row := range p.tables[r.Name] {
				v := row[f.Name]
				if none[v] {
					if f.Constraints.Required {
						t.Fatalf("%s.%s is required and missing in a row", r.Name, f.Name)
					}
					continue
				}
				if f.Categories != nil && !slices.Contains(f.Categories, v) {
					t.Fatalf("%s.%s: %q is no category", r.Name, f.Name, v)
				}
				if f.Constraints.Unique && seen[f.Name][v] {
					t.Fatalf("%s.%s: %q stands twice", r.Name, f.Name, v)
				}
				seen[f.Name][v] = true
				switch f.Type {
				case "number", "integer":
					x, err := strconv.ParseFloat(v, 64)
					if err != nil || f.Constraints.Minimum != nil && x < *f.Constraints.Minimum || f.Constraints.Maximum != nil && x > *f.Constraints.Maximum {
						t.Fatalf("%s.%s: %q is no %s within its limits", r.Name, f.Name, v, f.Type)
					}
				case "boolean":
					if v != "true" && v != "false" {
						t.Fatalf("%s.%s: %q is no boolean", r.Name, f.Name, v)
					}
				}
			}
		}
	}
	sums, err := os.ReadFile(filepath.Join(p.dir, "SHA256SUMS"))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(sums)) {
		want, name, _ := strings.Cut(strings.TrimSpace(line), "  ")
		data, err := os.ReadFile(filepath.Join(p.dir, name))
		if got := sha256.Sum256(data); err != nil || hex.EncodeToString(got[:]) != want {
			t.Errorf("%s: checksum differs, %v", name, err)
		}
	}
}

// nothingOfTheSource looks for the source's own keys, names and times in every
// file of the release.
func (p *published) nothingOfTheSource(t *testing.T) {
	db, err := duck.Open(context.Background(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	src, err := queries.Open(context.Background(), p.store, queries.OpenOptions{Threads: 2})
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	secrets := map[string]bool{p.seed: true}
	rows, err := src.SQL().Query(`SELECT DISTINCT unnest([episode::VARCHAR, animal::VARCHAR, owner::VARCHAR, advisor::VARCHAR]) FROM (SELECT * FROM cases ORDER BY hash(episode) LIMIT 30)
UNION SELECT DISTINCT feed || ',' FROM coverage WHERE feed <> 'line' UNION SELECT DISTINCT practice || ',' FROM cases WHERE practice <> 'line'`)
	if err != nil {
		t.Fatal(err)
	}
	for rows.Next() {
		var s *string
		if err := rows.Scan(&s); err != nil {
			t.Fatal(err)
		}
		if s != nil {
			secrets[*s], secrets[strings.ReplaceAll(*s, "-", "")] = true, true
		}
	}
	rows.Close()
	files, err := filepath.Glob(filepath.Join(p.dir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	more, err := filepath.Glob(filepath.Join(p.dir, "data", "*"))
	if err != nil || len(more) != 16 {
		t.Fatalf("%d files of data, %v", len(more), err)
	}
	for _, path := range append(files, more...) {
		data, err := os.ReadFile(path)
		if err != nil {
			continue // the folder data itself
		}
		for s := range secrets {
			if bytes.Contains(data, []byte(s)) {
				t.Errorf("%s holds %q of the source", filepath.Base(path), s)
			}
		}
		if bytes.Contains(data, []byte(p.store)) || bytes.Contains(data, []byte("ARROW:schema")) {
			t.Errorf("%s holds a path of this machine or metadata of the writer", filepath.Base(path))
		}
	}
	// The order of rows follows the new keys and nothing else.
	if !slices.IsSortedFunc(p.tables["episodes"], func(a, b map[string]string) int { return strings.Compare(a["episode"], b["episode"]) }) {
		t.Error("episodes are not in the order of their new keys")
	}
}

// modules is where the check installs the readers of npm.
func modules(t *testing.T) string {
	t.Helper()
	cache, err := os.UserCacheDir()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(cache, "hindcheck-npm")
	if given := os.Getenv("HINDCHECK_TEST_MODULES"); given != "" {
		dir = given
	}
	missing := func(what string) {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is missing; .ci/run installs it", what)
		}
		t.Skipf("%s is missing: npm install --prefix %s hyparquet @duckdb/node-api", what, dir)
	}
	if _, err := exec.LookPath("node"); err != nil {
		missing("node")
	}
	for _, m := range []string{"hyparquet", "@duckdb/node-api"} {
		if _, err := os.Stat(filepath.Join(dir, "node_modules", m)); err != nil {
			missing(m)
		}
	}
	return dir
}

// otherReaders has two readers of Parquet that share no code with the writer
// give every cell, and compares them with the CSV.
func (p *published) otherReaders(t *testing.T) {
	dir, out := modules(t), t.TempDir()
	tables := slices.Sorted(maps.Keys(p.header))
	cmd := exec.Command("node", append([]string{filepath.Join("testdata", "read_release.mjs"), dir, p.dir, out}, tables...)...)
	if text, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("node: %v\n%s", err, text)
	}
	for _, table := range tables {
		want := p.lines(table, func(_, v string) string { return v })
		for _, reader := range []string{"hyparquet", "duckdb"} {
			compareLines(t, table+" by "+reader, filepath.Join(out, table+"."+reader+".txt"), want)
		}
	}
}

// lines writes a table's CSV cells as the other readers write theirs.
func (p *published) lines(table string, cell func(column, v string) string) []string {
	out := []string{strings.Join(p.header[table], "\x1f")}
	for _, r := range p.tables[table] {
		cells := make([]string, len(p.header[table]))
		for i, c := range p.header[table] {
			cells[i] = cell(c, r[c])
		}
		out = append(out, strings.Join(cells, "\x1f"))
	}
	return out
}

func compareLines(t *testing.T, name, path string, want []string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Split(strings.TrimSuffix(string(data), "\n"), "\n")
	if len(got) != len(want) {
		t.Errorf("%s: %d lines, want %d", name, len(got), len(want))
		return
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%s, row %d:\n got %q\nwant %q", name, i, got[i], want[i])
			return
		}
	}
}

// readWithR has R read each CSV with the types and missing values of the
// descriptor and give every cell back.
func (p *published) readWithR(t *testing.T) {
	if _, err := exec.LookPath("Rscript"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("Rscript is missing; .ci/run installs it")
		}
		t.Skip("Rscript is missing: apt-get install r-base-core")
	}
	out := t.TempDir()
	missing := map[string]bool{"": true, "suppressed": true, "not_asked": true, "not_possible": true, "declined": true, "stopped_early": true}
	cmd := exec.Command("Rscript", "--vanilla", filepath.Join("testdata", "read_release.R"), p.dir, out, "episodes", "findings", "outcomes")
	if text, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("R: %v\n%s", err, text)
	}
	for _, table := range []string{"episodes", "findings", "outcomes"} {
		want := p.lines(table, func(column, v string) string {
			if missing[v] && !strings.HasSuffix(column, "_state") {
				return ""
			}
			return v
		})
		compareLines(t, table+" by R", filepath.Join(out, table+".txt"), want)
	}
}

// oneRowApart makes an earlier release that lacks one episode. Whoever holds both
// could subtract them, so the later one is refused; the same release again is not
// measured as new, and joins on content alone.
func (p *published) oneRowApart(t *testing.T) {
	earlier := filepath.Join(t.TempDir(), "earlier")
	if err := os.CopyFS(earlier, os.DirFS(p.dir)); err != nil {
		t.Fatal(err)
	}
	db, err := duck.Open(context.Background(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, table := range []string{"episodes", "flags", "findings"} {
		path := filepath.Join(earlier, "data", table+".parquet")
		if _, err := db.Exec(fmt.Sprintf("COPY (SELECT * FROM read_parquet('%s') WHERE episode <> '%s') TO '%s' (FORMAT parquet)",
			filepath.Join(p.dir, "data", table+".parquet"), p.tables["episodes"][17]["episode"], path)); err != nil {
			t.Fatal(err)
		}
	}
	var o, e bytes.Buffer
	status := Run(context.Background(), []string{"publish", filepath.Join(t.TempDir(), "later"), "--store", p.store, "--privacy", p.privacy, "--previous", earlier, "--quiet"}, nil, strings.NewReader(""), &o, &e)
	if status != 3 || o.Len() > 0 || !strings.Contains(e.String(), "1 new and 0 other episodes") {
		t.Errorf("one row apart: status %d, %s", status, e.String())
	}
}

// A target that cannot be met within the limits stops the release: status 3, the
// columns and numbers that are the cause, nothing written.
func TestPublishRefuses(t *testing.T) {
	line, err := scriptLine()
	if err != nil {
		t.Fatal(err)
	}
	store, dir := filepath.Join(line, "demo", "store"), filepath.Join(t.TempDir(), "open")
	text, err := os.ReadFile(filepath.Join("internal", "disclosure", "open.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	strict := strings.NewReplacer("target: {k: 10, l: 2}", "target: {k: 200, l: 2}", "levels: [month, quarter, half_year, year]", "levels: [month]", "essential: 0.01", "essential: 0.005").Replace(string(text))
	privacy := filepath.Join(t.TempDir(), "privacy.yaml")
	if err := os.WriteFile(privacy, []byte(strict), 0o600); err != nil {
		t.Fatal(err)
	}
	var o, e bytes.Buffer
	status := Run(context.Background(), []string{"publish", dir, "--store", store, "--privacy", privacy}, nil, strings.NewReader(""), &o, &e)
	if status != 3 || o.Len() > 0 {
		t.Errorf("status %d, output %q", status, o.String())
	}
	for _, want := range []string{"200 persons", "column period would be suppressed in", "because of period", "nothing was published"} {
		if !strings.Contains(e.String(), want) {
			t.Errorf("no %q in:\n%s", want, e.String())
		}
	}
	if _, err := os.Stat(dir); !os.IsNotExist(err) {
		t.Errorf("the folder is there: %v", err)
	}
	left, err := filepath.Glob(filepath.Join(filepath.Dir(dir), ".release*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}
