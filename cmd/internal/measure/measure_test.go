package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
)

// output is what go test -v -bench writes.
const output = `goos: linux
=== RUN   BenchmarkX
BenchmarkX
BenchmarkX/calls=2000/change=a
BenchmarkX/calls=2000/change=a-2         	       3	8386787114 ns/op	         1.500 mine-wall-s	         3.000 peer-wall-s	         0.5000 mine/peer-wall
BenchmarkX/calls=2000/change=b-2         	       3	8386787114 ns/op	         9.000 mine-wall-s	         3.000 peer-wall-s	         3.000 mine/peer-wall
PASS
ok  	hindcheck/x	26.463s
`

var xWork = work{name: "x", lines: []line{
	{work: "first", peer: "other", within: "change=a", ours: "mine-wall-s", theirs: "peer-wall-s", ratio: "mine/peer-wall", unit: "s", goal: 1, target: 0.8},
	{work: "second", peer: "other", within: "change=b", ours: "mine-wall-s", theirs: "peer-wall-s", ratio: "none mine/peer-wall", unit: "s", goal: 1},
	{work: "third", peer: "other", within: "change=b", ratio: "mine/peer-wall", goal: 2, atLeast: true},
}}

func table(t *testing.T, rows []row, markdown bool) string {
	t.Helper()
	var b bytes.Buffer
	if err := writeTable(&b, []string{"a machine"}, rows, markdown); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestGoalsMetAndMissed(t *testing.T) {
	got := table(t, xWork.rows(output), true)
	for _, want := range []string{
		"| first | 2000 calls | 1.5 s | other | 3 s | 0.5 | at most 1, target 0.8 | yes | yes |",
		"| second | 2000 calls | 9 s | other | 3 s | 3 | at most 1 | NO | yes |",
		"| third | 2000 calls |  | other |  | 3 | at least 2 | yes | yes |",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no line %q in\n%s", want, got)
		}
	}
}

func TestMemoryLines(t *testing.T) {
	w := work{lines: []line{{work: "peak", ours: "peak-MB", unit: "MB", goal: 600, alone: true}}}
	got := table(t, w.rows("    peak_test.go:53: 4000 calls: peak of 278 MB\n    pieces_test.go:42: 615 calls in the store, piece 2 of 2: peak of 679 MB; loaded in 8 s, invented in 0 s\n"), true)
	for _, want := range []string{"| peak | 4000 calls | 278 MB |  |  |  | at most 600 MB | yes |  |", "| peak | 615 calls in the store, piece 2 of 2 | 679 MB |  |  |  | at most 600 MB | NO |  |"} {
		if !strings.Contains(got, want) {
			t.Errorf("no line %q in\n%s", want, got)
		}
	}
}

// What is missing is skipped and says so; what reports nothing, or lacks a
// figure, has failed.
func TestSkippedAndFailed(t *testing.T) {
	skipped := xWork.rows("--- SKIP: BenchmarkX\n    x_test.go:9: needs Rscript with pROC\nPASS\n")
	for _, r := range skipped {
		if r.state != stateSkipped || r.why != "needs Rscript with pROC" {
			t.Errorf("%+v: want it skipped", r)
		}
	}
	for name, text := range map[string]string{"nothing": "PASS\n", "another benchmark": strings.ReplaceAll(output, "change=", "other=")} {
		for _, r := range xWork.rows(text) {
			if r.state != stateFailed {
				t.Errorf("%s: %+v: want it failed", name, r)
			}
		}
	}
	if got := table(t, xWork.rows("PASS\n"), false); !strings.Contains(got, "FAILED") {
		t.Errorf("the table does not say that it failed:\n%s", got)
	}
}

func TestUsage(t *testing.T) {
	var o, e bytes.Buffer
	for _, args := range [][]string{{"--only", "nonsense"}, {"load"}, {"--size"}} {
		if code := Run(context.Background(), args, &o, &e); code != 2 {
			t.Errorf("%v: status %d, want 2", args, code)
		}
	}
	if code := Run(context.Background(), []string{"--help"}, &o, &e); code != 0 || !strings.Contains(e.String(), "load, memory") {
		t.Errorf("help: status %d, %s", code, e.String())
	}
}

// Every work says what to run and every line has a figure.
func TestWorks(t *testing.T) {
	names := map[string]bool{}
	for _, w := range works {
		if names[w.name] || (w.pkg != "") != (w.bench != "" || w.test != "") {
			t.Errorf("%s: named twice, or without a package or a benchmark", w.name)
		}
		names[w.name] = true
		for _, l := range w.lines {
			if l.ours == "" && l.ratio == "" || l.ratio == "" && l.goal == 0 && !l.alone || l.goal != 0 && l.ratio == "" && l.atLeast {
				t.Errorf("%s: %s: no figure, or no second side to compare with", w.name, l.work)
			}
		}
	}
}
