package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/report/internal/demoline"
	"hindcheck/cmd/report/internal/replay"
	"hindcheck/datasets/demo"
	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
)

// wholeSize is the demonstration line as report demo makes it.
var wholeSize = demo.Options{Seed: 1, Calls: 24000}

// lineFolder is the folder of the whole line, which tests only read.
func lineFolder(t *testing.T) string {
	t.Helper()
	dir, err := wholeLine()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// replayed runs report replay on a proposal of the whole line.
func replayed(t *testing.T, proposal string, args ...string) (status int, r replay.Report, errs string) {
	t.Helper()
	dir := lineFolder(t)
	var o, e bytes.Buffer
	args = append([]string{"replay", "--store", demoline.Store(dir), "--proposed", filepath.Join(dir, "proposals", proposal), "--format", "json"}, args...)
	status = Run(context.Background(), args, nil, strings.NewReader(""), &o, &e)
	if o.Len() > 0 {
		if err := json.Unmarshal(o.Bytes(), &r); err != nil {
			t.Fatal(err)
		}
	}
	return status, r, e.String()
}

// trueMoves counts on the truth of the line how many animals in need at a cut a
// proposal newly sends in and newly does not, over the months of a replay.
func trueMoves(t *testing.T, proposal string, from, to string, cut codes.Level) (gained, lost float64) {
	t.Helper()
	dict := findings.Default()
	program := func(path string) *rules.Program {
		set, err := rules.Load(path)
		if err != nil {
			t.Fatal(err)
		}
		p, err := rules.Compile(set, dict)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	old, next := program(filepath.Join(lineFolder(t), "rules.yaml")), program(filepath.Join(lineFolder(t), "proposals", proposal))
	record, was, is := rules.Record{Values: make([]int32, len(dict.Findings))}, rules.Result{}, rules.Result{}
	zone, err := time.LoadLocation(demo.Zone)
	if err != nil {
		t.Fatal(err)
	}
	err = demo.Simulate(wholeSize, func(e *demo.Episode) {
		month := time.Unix(e.Start, 0).In(zone).Format("2006-01")
		need := e.NeedSameDay
		if cut == codes.Emergency {
			need = e.NeedEmergency
		}
		if month < from || month > to || !need {
			return
		}
		record.Species, record.Sex, record.BreedGroup, record.AgeMonths = e.Species, e.Sex, e.BreedGroup, int32(e.AgeMonths)
		for f, r := range e.Readings {
			i := dict.Index(demo.Finding(f).String())
			record.Values[i] = codes.NotAsked
			if r.State == demo.Done {
				record.Values[i] = int32(r.Recorded)
			}
		}
		old.Eval(&record, &was)
		next.Eval(&record, &is)
		switch before, after := was.Level.AtLeast(cut), is.Level.AtLeast(cut); {
		case after && !before:
			gained++
		case before && !after:
			lost++
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return gained, lost
}

// judgedAs is the answer of the criterion whose name begins so.
func judgedAs(t *testing.T, r replay.Report, name string) string {
	t.Helper()
	for _, j := range r.Verdict.Judged {
		if strings.HasPrefix(j.Name, name) {
			return j.Answer
		}
	}
	t.Fatalf("no criterion %q", name)
	return ""
}

// The line is invented, so what each proposal does to its animals is known: the
// gate opens for the one that mends the lax threshold, and for none that harms.
func TestGateOnTheTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("loads a whole line")
	}
	gate := []string{"--criteria", filepath.Join(lineFolder(t), "criteria.yaml"), "--gate"}
	for _, c := range []struct {
		proposal string
		status   int
		cut      codes.Level
		wrong    []string // criteria that refuse it
	}{
		{"cat_breathing.yaml", command.Done, codes.SameDay, nil},
		{"after_stress.yaml", command.Gate, codes.Emergency, []string{"every newly missed case"}},
		{"fewer_visits.yaml", command.Gate, codes.SameDay, []string{"loss of sensitivity", "no species", "every newly missed case"}},
		{"rabbits_wait.yaml", command.Gate, codes.SameDay, []string{"no species", "every newly missed case"}},
	} {
		t.Run(c.proposal, func(t *testing.T) {
			status, r, errs := replayed(t, c.proposal, gate...)
			if status != c.status || status == command.Gate && !strings.Contains(errs, "report: gate: The proposal does not meet the criteria") {
				t.Fatalf("status %d, %s", status, errs)
			}
			for _, name := range c.wrong {
				if got := judgedAs(t, r, name); got != replay.NotMet {
					t.Errorf("%s: %s", name, got)
				}
			}
			x := r.Ways[0].Cuts[slices.Index([]codes.Level{codes.SameDay, codes.Emergency}, c.cut)]
			gained, lost := trueMoves(t, c.proposal, r.Period.From, r.Period.To, c.cut)
			t.Logf("%s: truly gained %.0f, lost %.0f; estimated %v (%v to %v) and %v (%v to %v)", x.Cut, gained, lost,
				*x.Gained.Number.Estimate, *x.Gained.Number.Low, *x.Gained.Number.High, *x.Lost.Number.Estimate, *x.Lost.Number.Low, *x.Lost.Number.High)
			// The store lost a file and some calls of the line, so the truth of its own
			// episodes lies a little below that of the simulation.
			for name, n := range map[string]struct {
				truth float64
				of    replay.Number
			}{"gained": {gained, x.Gained}, "lost": {lost, x.Lost}} {
				if n.truth < *n.of.Range.Low-1 || n.truth > *n.of.Range.High*1.02+1 {
					t.Errorf("%s: truly %.0f, outside its possible range %v to %v", name, n.truth, *n.of.Range.Low, *n.of.Range.High)
				}
				if slack := 2 + 0.1*n.truth; n.truth < *n.of.Number.Low-slack || n.truth > *n.of.Number.High+slack {
					t.Errorf("%s: truly %.0f, estimated %v to %v", name, n.truth, *n.of.Number.Low, *n.of.Number.High)
				}
			}
			if c.proposal != "rabbits_wait.yaml" {
				return
			}
			if d := r.Ways[0].Cuts[0].Corrected.SensitivityDifference; *d.Low <= 0 {
				t.Errorf("the proposal that harms rabbits alone is to be better on average: %v to %v", *d.Low, *d.High)
			}
			if g := r.Groups.List[0]; g.Value != "rabbit" || g.Answer != replay.NotMet {
				t.Errorf("the group in front is %s, %s", g.Value, g.Answer)
			}
		})
	}
}

// The flag known to be too cautious can be relaxed, but not silently: every
// newly missed case needs a reason, and reasons for other cases are refused.
func TestRelaxingNeedsReasons(t *testing.T) {
	if testing.Short() {
		t.Skip("loads a whole line")
	}
	base, err := os.ReadFile(filepath.Join(lineFolder(t), "criteria.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "criteria.yaml")
	_, r, _ := replayed(t, "after_stress.yaml")
	if len(r.Cases.Missed) < 2 || r.Verdict != nil {
		t.Fatalf("%d newly missed, verdict %v", len(r.Cases.Missed), r.Verdict)
	}
	entry := func(episode, day string) string {
		return fmt.Sprintf("  - episode: %s\n    reviewer: senior veterinary surgeon\n    registration: no. 0000 (invented)\n    date: %s\n    reason: seen within days and well\n", episode, day)
	}
	all := "reviewed:\n"
	for _, m := range r.Cases.Missed {
		all += entry(m.Episode, "2026-11-20")
	}
	for name, c := range map[string]struct {
		reviewed string
		status   int
		want     string
	}{
		"all":     {all, command.Done, ""},
		"one":     {"reviewed:\n" + entry(r.Cases.Missed[0].Episode, "2026-11-20"), command.Gate, "not meet"},
		"stale":   {all + entry("00000000-0000-0000-0000-000000000001", "2026-11-20"), command.Usage, "an episode that this proposal newly misses"},
		"too old": {"reviewed:\n" + entry(r.Cases.Missed[0].Episode, "2020-01-01"), command.Usage, "a day on or after that of the call"},
	} {
		if err := os.WriteFile(file, append(slices.Clone(base), c.reviewed...), 0o600); err != nil {
			t.Fatal(err)
		}
		status, _, errs := replayed(t, "after_stress.yaml", "--criteria", file, "--gate")
		if status != c.status || !strings.Contains(errs, c.want) {
			t.Errorf("%s: status %d, %s", name, status, errs)
		}
	}
}

// The same store and files give the same bytes, with one thread or two.
func TestReplaySameBytes(t *testing.T) {
	dir, err := scriptLine()
	if err != nil {
		t.Fatal(err)
	}
	line := filepath.Join(dir, "demo")
	var first string
	for _, threads := range []string{"1", "2", "2"} {
		out := run(t, "replay", "--store", demoline.Store(line), "--proposed", filepath.Join(line, "proposals", "rabbits_wait.yaml"), "--criteria", filepath.Join(line, "criteria.yaml"),
			"--appointments", filepath.Join(line, "appointments.yaml"), "--format", "json", "--threads", threads)
		if first == "" {
			first = out
		}
		if out != first {
			t.Errorf("%s threads: other bytes", threads)
		}
	}
}
