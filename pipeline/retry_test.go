package pipeline_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// holes are words that a description may lack at first: a level, a complaint, a
// whole check, a word of one, a disposition, and one of the vet's own readings.
var holes = map[string][]string{
	"calls.yaml":        {", at home: home_care}}\n  rule_level", "      vomiting: vomiting\n"},
	"checks.yaml":       {"  CRT: {finding: capillary_refill_s, unit: s}\n", "hard work: marked, "},
	"outcomes.yaml":     {"      ward: admitted\n"},
	"vet_readings.yaml": {"white: white, "},
}

var fewCalls = demo.Options{Seed: 3, Calls: 200, From: twoMonths.From, To: twoMonths.To}

// sourcesWithHoles copies the descriptions of a line without those words.
func sourcesWithHoles(t *testing.T, dir string) string {
	t.Helper()
	to := filepath.Join(dir, "holes")
	copyTree(t, filepath.Join(dir, "sources"), to)
	for file, words := range holes {
		path := filepath.Join(to, file)
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		text := string(data)
		for _, w := range words {
			without := strings.Replace(text, w, "", 1)
			if strings.HasSuffix(w, "rule_level") {
				without = strings.Replace(text, w, "}}\n  rule_level", 1)
			}
			if without == text {
				t.Fatalf("%s has no %q", file, w)
			}
			text = without
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return to
}

// content is what a store says, whenever it learnt it: the present rows without
// the numbers of loads, and the rows set aside.
func content(t *testing.T, dir string) map[string]string {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	db := openDuck(t)
	relations := map[string]string{
		"set_aside": `SELECT file, row, "column", reason FROM (` + resolve.AsideAsOf(s, 0) + `)`,
		"cases":     "SELECT * FROM read_parquet(['" + strings.Join(s.Paths(store.Cases, ""), "', '") + "'], hive_partitioning = false)",
	}
	for _, name := range resolve.Tables {
		query, err := resolve.AsOf(s, name, 0)
		if err != nil {
			t.Fatal(err)
		}
		relations[name] = "SELECT * EXCLUDE (load_no, exported_at) FROM (" + query + ")"
	}
	out := map[string]string{}
	for name, query := range relations {
		var text string
		if err := db.QueryRow("SELECT count(*) || ' ' || coalesce(sum(hash(r)::HUGEINT)::VARCHAR, '') FROM (" + query + ") r").Scan(&text); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		out[name] = text
	}
	return out
}

func retry(t *testing.T, opt pipeline.LoadOptions, which resolve.AsideFilter) *pipeline.Summary {
	t.Helper()
	sum, err := pipeline.Retry(context.Background(), opt, which)
	if err != nil {
		t.Fatal(err)
	}
	if !sum.Sums.Balanced() {
		t.Errorf("account of a retry: %+v; want it to balance", sum.Sums)
	}
	return sum
}

// Whenever the words came, and in whatever steps the refused rows are tried
// again, the store says what it would say had the words been there at first.
func TestRetryGivesWhatAWholeDescriptionGives(t *testing.T) {
	dir := demoLine(t, fewCalls)
	all := filepath.Join(dir, "exports")
	steps := [][]string{{filepath.Join(all, "*-2026-05_*")}, {filepath.Join(all, "*-2026-06_*")}}
	good, bad := filepath.Join(dir, "sources"), sourcesWithHoles(t, dir)
	build := func(name string, sources ...string) pipeline.LoadOptions {
		opt := loadOptions(t, dir)
		opt.Store = filepath.Join(dir, name)
		for i, s := range sources {
			opt.Exports, opt.Sources = steps[i], []string{s}
			load(t, opt)
		}
		opt.Exports, opt.Sources = []string{all}, []string{good}
		return opt
	}
	want := content(t, build("good", good, good).Store)

	for name, c := range map[string]struct {
		sources []string
		tries   []resolve.AsideFilter
	}{
		"all at once":                   {[]string{bad, bad}, []resolve.AsideFilter{{}}},
		"newer exports read with words": {[]string{bad, good}, []resolve.AsideFilter{{}}},
		"by reason": {[]string{bad, bad}, []resolve.AsideFilter{{Reason: "unmapped_word"}, {Reason: "unmapped_check"}, {Reason: "orphan_check"},
			// What was refused for two reasons waits under the second now.
			{}}},
		"by load": {[]string{bad, bad}, []resolve.AsideFilter{{Load: 2}, {Load: 1}, {}}},
	} {
		t.Run(name, func(t *testing.T) {
			opt := build(strings.ReplaceAll(name, " ", "-"), c.sources...)
			before, loads := digest(t, opt.Store, 0), len(c.sources)
			for _, which := range c.tries {
				if sum := retry(t, opt, which); sum.Retry.Tried == 0 && which != (resolve.AsideFilter{}) {
					t.Errorf("%+v: nothing was tried", which)
				}
			}
			if d := cmp.Diff(want, content(t, opt.Store)); d != "" {
				t.Errorf("the store does not say what it should (-want +got):\n%s", d)
			}
			if got := digest(t, opt.Store, loads); got != before {
				t.Errorf("as of the last load before: %s; it was %s", got, before)
			}
			// What cannot be mended stays, and trying it again changes no byte.
			files := tree(t, opt.Store)
			if sum := retry(t, opt, resolve.AsideFilter{}); sum.Load != 0 || sum.Retry.Mended != 0 || sum.Retry.Tried != sum.Sums.SetAside || sum.Retry.Tried == 0 {
				t.Errorf("a retry of what stays refused: load %d, %+v, %+v", sum.Load, sum.Retry, sum.Sums)
			}
			if tree(t, opt.Store) != files {
				t.Error("the store changed")
			}
			if v, err := pipeline.Verify(context.Background(), opt.Store, 2); err != nil || len(v.Faults) > 0 || v.CasesDiffer {
				t.Errorf("verify: %+v, %v", v, err)
			}
		})
	}
}

// Checks of a call that was refused are orphans. They enter with the call where
// both exports are given, and stay where theirs is not.
func TestRetryOfOrphans(t *testing.T) {
	dir := demoLine(t, fewCalls)
	opt := loadOptions(t, dir)
	good := opt.Sources
	opt.Sources = []string{sourcesWithHoles(t, dir)}
	load(t, opt)
	opt.Sources = good
	orphans := asideOf(t, opt.Store, "orphan_check")
	opt.Exports = []string{filepath.Join(dir, "exports", "calls-*")}
	sum := retry(t, opt, resolve.AsideFilter{})
	if sum.Load != 2 || sum.Retry.Mended == 0 || len(sum.Retry.Missing) == 0 || asideOf(t, opt.Store, "orphan_check") != orphans {
		t.Errorf("calls alone: load %d, %+v; want calls to enter, their checks to stay, and the exports of checks to be named", sum.Load, sum.Retry)
	}
	opt.Exports = []string{filepath.Join(dir, "exports")}
	retry(t, opt, resolve.AsideFilter{Reason: "orphan_check"})
	if left := asideOf(t, opt.Store, "orphan_check"); left >= orphans {
		t.Errorf("%d orphans are left of %d", left, orphans)
	}
}

func asideOf(t *testing.T, dir, reason string) (n int64) {
	t.Helper()
	_, reasons, err := pipeline.ReadSetAside(context.Background(), dir, resolve.AsideFilter{Reason: reason}, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range reasons {
		n += r.Rows
	}
	return n
}

// An export is known by its content: a new name does not hide it, and a change
// of one byte does.
func TestRetryFindsExportsByContent(t *testing.T) {
	dir := demoLine(t, fewCalls)
	opt := loadOptions(t, dir)
	good := opt.Sources
	opt.Sources = []string{sourcesWithHoles(t, dir)}
	load(t, opt)
	files, other := tree(t, opt.Store), filepath.Join(dir, "other")
	opt.Sources, opt.Exports = good, []string{other}
	names, err := filepath.Glob(filepath.Join(dir, "exports", "calls-2026-05_*"))
	if err != nil || len(names) != 1 {
		t.Fatal(names, err)
	}
	data, err := os.ReadFile(names[0])
	if err != nil {
		t.Fatal(err)
	}
	write := func(name, text string) {
		t.Helper()
		if err := os.MkdirAll(other, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(other, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write(filepath.Base(names[0]), string(data)+"\n")
	_, err = pipeline.Retry(context.Background(), opt, resolve.AsideFilter{})
	if err == nil || !strings.Contains(err.Error(), "its content has changed since") {
		t.Errorf("a changed export: %v", err)
	}
	if tree(t, opt.Store) != files {
		t.Error("the store changed")
	}
	write("kept for later.txt", string(data))
	sum := retry(t, opt, resolve.AsideFilter{})
	if sum.Retry.Mended == 0 || len(sum.Exports) != 1 || sum.Exports[0].Name != filepath.Base(names[0]) {
		t.Errorf("under another name: %+v", sum)
	}
	// A retry reads refused rows only: the export itself is not known as read
	// with the mended description.
	opt.Exports = []string{names[0]}
	if sum := load(t, opt); len(sum.Known) > 0 || sum.Load == 0 {
		t.Errorf("a load after a retry: %+v", fmt.Sprint(sum.Known, sum.Load))
	}
}

// A load that reads an export again from end to end accounts for all its rows
// anew: none stays set aside twice.
func TestLoadWithMendedDescriptionTakesUpRefusedRows(t *testing.T) {
	dir := demoLine(t, fewCalls)
	want := loadOptions(t, dir)
	want.Store = filepath.Join(dir, "good")
	load(t, want)
	opt := loadOptions(t, dir)
	opt.Sources = []string{sourcesWithHoles(t, dir)}
	first := load(t, opt)
	opt.Sources = want.Sources
	load(t, opt)
	if d := cmp.Diff(content(t, want.Store)["set_aside"], content(t, opt.Store)["set_aside"]); d != "" {
		t.Errorf("set aside (-want +got):\n%s", d)
	}
	s, err := store.Open(opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var n int64
	if err := openDuck(t).QueryRow("SELECT count(*) FROM (" + resolve.AsideAsOf(s, 1) + ")").Scan(&n); err != nil || n != first.Sums.SetAside {
		t.Errorf("set aside as of the first load: %d, %v; they were %d", n, err, first.Sums.SetAside)
	}
}

// Rows by hand: which of two rows of one key a retry must leave standing.
func TestRetrySupersedesNothingNewer(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		t.Helper()
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	describe := func(words string) string {
		return write("calls.yaml", `source: by-hand
record: calls
file: {kind: csv, match: "*.csv"}
exported_at: {file_name: '_(\d{4}-\d{2}-\d{2})', layout: "2006-01-02"}
zone: UTC
columns:
  call: {from: no, key: call}
  contact: {from: no, key: contact}
  contact_type: {value: clinical}
  started_at: {from: at, layout: "2006-01-02 15:04"}
  species: {value: dog}
  level: {from: advice, values: {`+words+`}}
`)
	}
	opt := pipeline.LoadOptions{Store: filepath.Join(dir, "store"), Key: testKey(t, 7), Sources: []string{describe("today: same_day, now: emergency")}, Threads: 2, Software: "test"}
	for _, f := range []struct{ name, text string }{
		{"a_2026-05-02.csv", `no,at,advice
1,2026-05-01 10:00,rest
1,2026-05-01 10:00,today
2,2026-05-01 11:00,today
2,2026-05-01 11:00,rest
3,2026-05-01 12:00,rest
4,2026-05-01 13:00,rest
5,2026-05-01 14:00,rest
5,2026-05-01 14:00,rest
6,2026-05-01 15:00,rest
7,2026-05-01 16:00,sleep
`},
		{"b_2026-05-02.csv", "no,at,advice\n4,2026-05-01 13:00,today\n"}, // of the same time
		{"c_2026-05-03.csv", "no,at,advice\n3,2026-05-01 12:00,now\n"},   // newer
		{"d_2026-05-01.csv", "no,at,advice\n6,2026-05-01 15:00,today\n"}, // older
	} {
		opt.Exports = []string{write(f.name, f.text)}
		load(t, opt)
	}
	describe("today: same_day, now: emergency, rest: home_care")
	opt.Exports = []string{dir + "/*.csv"}
	sum := retry(t, opt, resolve.AsideFilter{})
	want := store.Sums{Rows: 8, New: 1, Superseding: 2, Older: 2, Within: 2, SetAside: 1}
	if sum.Sums != want || sum.Retry.Tried != 8 || sum.Retry.Mended != 7 {
		t.Errorf("account %+v, %+v; want %+v", sum.Sums, sum.Retry, want)
	}
	s, err := store.Open(opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	query, err := resolve.AsOf(s, "calls", 0)
	if err != nil {
		t.Fatal(err)
	}
	var got string
	err = openDuck(t).QueryRow("SELECT string_agg(hour(started_at) - 9 || ' ' || level, ', ' ORDER BY started_at) FROM (" + query + ")").Scan(&got)
	const levels = "1 same_day, 2 home_care, 3 emergency, 4 same_day, 5 home_care, 6 home_care"
	if err != nil || got != levels {
		t.Errorf("calls %s, %v; want %s", got, err, levels)
	}
}
