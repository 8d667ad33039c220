package pipeline_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/store"
	"hindcheck/pipeline/store/storetest"
)

var twoMonths = demo.Options{Seed: 3, Calls: 800,
	From: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)}

func TestLoadAccountsForEveryRow(t *testing.T) {
	dir := demoLine(t, twoMonths)
	sum := load(t, loadOptions(t, dir))
	if !sum.Sums.Balanced() || sum.Sums.Rows == 0 {
		t.Errorf("account: %+v; want it to balance", sum.Sums)
	}
	aside := int64(0)
	for _, n := range sum.Aside {
		aside += n
	}
	if aside != sum.Sums.SetAside {
		t.Errorf("reasons add up to %d, set aside are %d", aside, sum.Sums.SetAside)
	}
	st, err := pipeline.ReadStatus(t.Context(), filepath.Join(dir, "store"))
	if err != nil {
		t.Fatal(err)
	}
	if st.Rows["calls"] != byRecord(sum, "calls").New || st.SetAside != sum.Sums.SetAside || st.Rows["cases"] == 0 {
		t.Errorf("status %+v does not agree with the summary %+v", st.Rows, sum.Sums)
	}
}

func byRecord(sum *pipeline.Summary, record string) (s store.Sums) {
	for _, e := range sum.Exports {
		if e.Record == record {
			s.Add(e.Sums)
		}
	}
	return s
}

func TestLoadingTwiceChangesNothing(t *testing.T) {
	dir := demoLine(t, twoMonths)
	opt := loadOptions(t, dir)
	load(t, opt)
	before := tree(t, opt.Store)
	again := load(t, opt)
	if again.Load != 0 || len(again.Known) == 0 {
		t.Errorf("second load: %+v; want nothing to do and all exports known", again)
	}
	if after := tree(t, opt.Store); after != before {
		t.Error("the store changed")
	}
}

// The same exports give the same records, whatever the number of threads.
func TestLoadIsReproducible(t *testing.T) {
	dir := demoLine(t, twoMonths)
	a, b := loadOptions(t, dir), loadOptions(t, dir)
	b.Store, b.Threads = filepath.Join(dir, "other"), 1
	load(t, a)
	load(t, b)
	if tree(t, a.Store) != tree(t, b.Store) {
		t.Error("two loads of the same exports gave different files")
	}
}

// Month by month or all at once: the present is the same, and every earlier
// state can be shown again.
func TestStateAsOfAnEarlierLoad(t *testing.T) {
	dir := demoLine(t, twoMonths)
	opt := loadOptions(t, dir)
	all := opt.Exports[0]
	var seen []string
	for _, step := range []string{"*-2026-05_*", "*-2026-06_*", "*-2026-0[78]_*"} {
		if m, _ := filepath.Glob(filepath.Join(all, step)); len(m) == 0 {
			continue
		}
		opt.Exports = []string{filepath.Join(all, step)}
		if sum := load(t, opt); sum.Load != len(seen)+1 {
			t.Fatalf("load number %d, want %d", sum.Load, len(seen)+1)
		}
		seen = append(seen, digest(t, opt.Store, 0))
	}
	if len(seen) < 2 {
		t.Fatalf("only %d loads; the line should give at least 2", len(seen))
	}
	for i, want := range seen {
		if got := digest(t, opt.Store, i+1); got != want {
			t.Errorf("as of load %d: %s; it was %s", i+1, got, want)
		}
	}
}

func TestCorrectedExportSupersedes(t *testing.T) {
	dir := demoLine(t, twoMonths)
	opt := loadOptions(t, dir)
	load(t, opt)
	before := digest(t, opt.Store, 0)
	names, err := filepath.Glob(filepath.Join(opt.Exports[0], "calls-2026-06_*"))
	if err != nil || len(names) != 1 {
		t.Fatal(names, err)
	}
	data, err := os.ReadFile(names[0])
	if err != nil {
		t.Fatal(err)
	}
	corrected := filepath.Join(opt.Exports[0], "calls-2026-06_exported-2026-09-01.csv")
	text := strings.Replace(string(data), ";in days;", ";today;", 1)
	if text == string(data) {
		t.Fatal("the export has no advice to correct")
	}
	if err := os.WriteFile(corrected, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	sum := load(t, opt)
	calls := byRecord(sum, "calls")
	if sum.Load != 2 || calls.Superseding != 1 || calls.New != 0 {
		t.Errorf("load %d with %+v; want load 2, one call superseded and none new", sum.Load, calls)
	}
	if digest(t, opt.Store, 1) != before {
		t.Error("the state as of load 1 has changed")
	}
}

func TestWrongKeyIsNoticed(t *testing.T) {
	dir := demoLine(t, twoMonths)
	opt := loadOptions(t, dir)
	load(t, opt)
	before := tree(t, opt.Store)
	opt.Key = testKey(t, 9)
	if _, err := pipeline.Load(context.Background(), opt); !errors.Is(err, pipeline.ErrKeyMismatch) {
		t.Errorf("load with another key: %v; want ErrKeyMismatch", err)
	}
	if tree(t, opt.Store) != before {
		t.Error("the store changed")
	}
}

func TestDryRunChangesNothing(t *testing.T) {
	dir := demoLine(t, twoMonths)
	opt := loadOptions(t, dir)
	opt.DryRun = true
	if sum := load(t, opt); sum.Sums.New == 0 || !sum.DryRun {
		t.Errorf("dry run: %+v; want an account of what would be new", sum)
	}
	if _, err := os.Stat(opt.Store); !os.IsNotExist(err) {
		t.Errorf("the store's folder: %v; want none", err)
	}
}

func TestNewRulesDeriveAllCasesAnew(t *testing.T) {
	dir := demoLine(t, twoMonths)
	opt := loadOptions(t, dir)
	load(t, opt)
	text, err := os.ReadFile(opt.Files.Rules)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(opt.Files.Rules, append(text, "\n# a remark\n"...), 0o644); err != nil {
		t.Fatal(err)
	}
	if sum := load(t, opt); !sum.Rebuilt || sum.Load != 2 {
		t.Errorf("load with other rules: %+v; want load 2 with all cases derived anew", sum)
	}
}

func TestRefusalsLeaveNothing(t *testing.T) {
	dir := demoLine(t, twoMonths)
	for _, c := range []struct {
		name   string
		change func(*pipeline.LoadOptions)
		want   []string
	}{
		{"missing export", func(o *pipeline.LoadOptions) { o.Exports = []string{filepath.Join(dir, "calls-2027.csv")} }, []string{"calls-2027.csv", "check the path"}},
		{"no such pattern", func(o *pipeline.LoadOptions) { o.Exports = []string{filepath.Join(dir, "x-*.csv")} }, []string{"x-*.csv", "check the pattern"}},
		{"file that no description fits", func(o *pipeline.LoadOptions) { o.Exports = []string{filepath.Join(dir, "rules.yaml")} }, []string{"rules.yaml", "add a description"}},
		{"no descriptions", func(o *pipeline.LoadOptions) { o.Sources = []string{filepath.Join(dir, "exports")} }, []string{"--sources"}},
		{"missing rules", func(o *pipeline.LoadOptions) { o.Files.Rules = filepath.Join(dir, "none.yaml") }, []string{"rules", "none.yaml"}},
		{"wrong column", func(o *pipeline.LoadOptions) {
			o.Sources = []string{edited(t, dir, "calls.yaml", `from: "Advice"`, `from: "Advise"`)}
		}, []string{"calls-2026-05", `"Advise"`}},
		{"unknown level word", func(o *pipeline.LoadOptions) {
			o.Sources = []string{edited(t, dir, "calls.yaml", "at home: home_care", "at home: at_home")}
		}, []string{"calls.yaml:", "at_home", "home_care"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			opt := loadOptions(t, dir)
			c.change(&opt)
			_, err := pipeline.Load(context.Background(), opt)
			if err == nil {
				t.Fatal("loaded; want a refusal")
			}
			for _, w := range c.want {
				if !strings.Contains(err.Error(), w) {
					t.Errorf("message %q; want it to name %q", err, w)
				}
			}
			if _, err := os.Stat(opt.Store); !os.IsNotExist(err) {
				t.Errorf("the store's folder: %v; want none", err)
			}
		})
	}
}

// edited copies the demonstration line's descriptions with one change.
func edited(t *testing.T, dir, file, from, to string) string {
	t.Helper()
	out := t.TempDir()
	entries, err := os.ReadDir(filepath.Join(dir, "sources"))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		data, err := os.ReadFile(filepath.Join(dir, "sources", e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if e.Name() == file {
			if !strings.Contains(string(data), from) {
				t.Fatalf("%s has no %q", file, from)
			}
			data = []byte(strings.Replace(string(data), from, to, 1))
		}
		if err := os.WriteFile(filepath.Join(out, e.Name()), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

func TestSecondLoadIsRefusedWhileOneIsAtWork(t *testing.T) {
	dir := demoLine(t, twoMonths)
	opt := loadOptions(t, dir)
	tx, err := store.Begin(store.Disk{}, opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Close()
	if _, err := pipeline.Load(context.Background(), opt); !errors.Is(err, store.ErrBusy) {
		t.Errorf("load beside another: %v; want ErrBusy", err)
	}
}

// A small load, a retry of refused rows and an erasure are cut after operations
// on the disk. What a restarted machine finds is the state before or
// the state after, nothing else.
func TestPowerCutDuringAChange(t *testing.T) {
	for _, what := range []string{"load", "retry", "erase"} {
		t.Run(what, func(t *testing.T) {
			k := newKillLine(t, what)
			cutEverywhere(t, k.base, k.before, k.after, 7, func(work string, p *storetest.PowerCut) error {
				return k.change(t, work, p)
			})
		})
	}
}

// cutEverywhere carries out change on copies of a store, cut after every
// third operation on the disk (LOAD_CUTS=all: after every one; fewer in a short
// run), and asks that a restarted machine finds the state before or the state
// after, and each of them at least once.
func cutEverywhere(t *testing.T, from, before, after string, shortStep int, change func(work string, p *storetest.PowerCut) error) {
	t.Helper()
	if before == after {
		t.Fatal("the change leaves the state as it was; the test would not notice")
	}
	step := 3
	switch {
	case os.Getenv("LOAD_CUTS") == "all":
		step = 1
	case testing.Short():
		step = shortStep
	}
	states := map[string]int{}
	for cut := 0; ; cut += step {
		work := filepath.Join(t.TempDir(), "store")
		copyTree(t, from, work)
		p, err := storetest.NewPowerCut(work, cut)
		if err != nil {
			t.Fatal(err)
		}
		done := change(work, p)
		for _, pessimist := range []bool{true, false} {
			survived := filepath.Join(t.TempDir(), "store")
			if err := p.Survivors(survived, pessimist); err != nil {
				t.Fatal(err)
			}
			switch digest(t, survived, 0) {
			case before:
				states["before"]++
			case after:
				states["after"]++
			default:
				t.Fatalf("cut after %d operations (pessimist %v): neither the state before nor the state after", cut, pessimist)
			}
		}
		if done == nil {
			break
		}
		if !errors.Is(done, storetest.ErrPowerCut) {
			t.Fatalf("cut after %d operations: %v", cut, done)
		}
	}
	if states["before"] == 0 || states["after"] < 2 {
		t.Errorf("states found: %v; want both", states)
	}
	t.Logf("states found after the cuts: %v", states)
}

func copyTree(t *testing.T, from, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
}
