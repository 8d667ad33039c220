package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/report/internal/demoline"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/datasets/demo"
)

// run runs the command as a person would, in the folder of the test.
func run(t *testing.T, args ...string) (out string) {
	t.Helper()
	var o, e bytes.Buffer
	if status := Run(context.Background(), args, nil, strings.NewReader(""), &o, &e); status != command.Done {
		t.Fatalf("report %s: status %d: %s", strings.Join(args, " "), status, e.String())
	}
	return o.String()
}

// Every example of the help works on the demonstration line, in the order in
// which the commands stand there. Other lines that an example sets up are made
// small.
func TestExamples(t *testing.T) {
	t.Chdir(t.TempDir())
	line, err := wholeLine()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(line, "demo"); err != nil {
		t.Fatal(err)
	}
	done := map[string]bool{"report demo": true, "report demo --dir demo": true, "report demo --dir line --seed 7": true}
	for _, line := range examples(newRoot(command.Streams{}, nil)) {
		args := shellWords(line)
		if len(args) < 2 || args[0] != "report" || done[strings.Join(args, " ")] {
			continue
		}
		done[strings.Join(args, " ")] = true
		if args[1] == "demo" {
			args = append(args, "--calls", "1500", "--quiet")
		}
		if out := run(t, args[1:]...); out == "" && !slices.Contains(args, "--out") {
			t.Errorf("%s: no output", line)
		}
	}
}

// shellWords splits a line as a shell does, with double and single quotes only.
func shellWords(line string) []string {
	var out []string
	for _, m := range regexp.MustCompile(`"([^"]*)"|'([^']*)'|(\S+)`).FindAllStringSubmatch(line, -1) {
		out = append(out, m[1]+m[2]+m[3])
	}
	return out
}

// examples are the lines of the help of a command and of those below it.
func examples(c *cobra.Command) []string {
	lines := strings.Split(c.Example, "\n")
	for _, sub := range c.Commands() {
		lines = append(lines, examples(sub)...)
	}
	return lines
}

func TestDemoWrites(t *testing.T) {
	t.Chdir(t.TempDir())
	out := run(t, "demo", "--calls", "1500", "--quiet")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	page := strings.TrimPrefix(lines[len(lines)-1], "open in a browser: ")
	data, err := os.ReadFile(page)
	if err != nil || !bytes.Contains(data, []byte("</html>")) {
		t.Fatalf("%v\n%s", err, out)
	}
	if data, err = os.ReadFile(strings.TrimSuffix(page, "html") + "json"); err != nil {
		t.Fatal(err)
	}
	checkGolden(t, data)
	if out = run(t, "flags", "--store", filepath.Join("hindcheck-demo", "store"), "--format", "json"); !json.Valid([]byte(out)) {
		t.Error("flags gives no JSON")
	}
}

// truth counts, over the period of a review, the episodes that truly needed
// care at each cut and those of them that were advised lower.
func truth(t *testing.T, opt demo.Options, p review.Period) (needed, missed map[string]float64) {
	t.Helper()
	var b bytes.Buffer
	if err := demo.WriteTruth(opt, &b); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	needed, missed = map[string]float64{}, map[string]float64{}
	for _, row := range rows[1:] {
		month, level := row[column["started_utc"]][:7], row[column["level"]]
		if month < p.From || month > p.To {
			continue
		}
		for cut, escalated := range map[string]bool{"same_day": level == "emergency" || level == "same_day", "emergency": level == "emergency"} {
			if row[column["need_"+cut]] == "y" {
				needed[cut]++
				if !escalated {
					missed[cut]++
				}
			}
		}
	}
	return needed, missed
}

// The invented line knows what every animal needed. From exports that show a
// third of it, the corrected under-triage must cover the truth, and the naive
// one, which takes the verified for all, must miss it.
func TestReviewCoversTheTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("loads a whole line")
	}
	dir, err := wholeLine()
	if err != nil {
		t.Fatal(err)
	}
	var r review.Review
	if err := json.Unmarshal([]byte(run(t, "monthly", "--store", demoline.Store(dir), "--format", "json")), &r); err != nil {
		t.Fatal(err)
	}
	needed, missed := truth(t, demo.Options{Seed: 1, Calls: 24000}, r.Period)
	for _, a := range r.Advice {
		under := missed[a.Cut] / needed[a.Cut]
		f := a.Under[0].Corrected
		t.Logf("%s: truth %.0f of %.0f missed (%.1f %%); corrected %.1f (%.1f to %.1f), naive %.1f %%", a.Cut, missed[a.Cut], needed[a.Cut],
			100*under, 100**f.Estimate, 100**f.Low, 100**f.High, 100**a.Under[0].Naive.Estimate)
		if *f.Low > under || *f.High < under {
			t.Errorf("%s: under-triage is %v, corrected %v to %v", a.Cut, under, *f.Low, *f.High)
		}
		if *a.Missed.Low > missed[a.Cut] || *a.Missed.High < missed[a.Cut] {
			t.Errorf("%s: %v missed, estimated %v to %v", a.Cut, missed[a.Cut], *a.Missed.Low, *a.Missed.High)
		}
		if b := a.Bounds.Sensitivity; *b.Low > 1-under || *b.High < 1-under {
			t.Errorf("%s: sensitivity %v outside its possible range %v to %v", a.Cut, 1-under, *b.Low, *b.High)
		}
	}
	if same := r.Advice[0]; *same.Under[0].Naive.High > missed["same_day"]/needed["same_day"] {
		t.Error("the naive figure does not show the bias that the correction is for")
	}
}
