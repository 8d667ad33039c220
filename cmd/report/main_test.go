package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

// lasting is a test whose database outlives it, so that all tests share one.
type lasting struct{ testing.TB }

func (lasting) Cleanup(func()) {}

var shared *queries.DB

func year(t *testing.T) *queries.DB {
	if shared == nil {
		shared = queriestest.Year(lasting{t}, 3000, 0.1)
	}
	return shared
}

// report runs the command on the invented year and returns status and streams.
func report(t *testing.T, env []string, args ...string) (status int, out, errs string) {
	t.Helper()
	t.Chdir(t.TempDir())
	var o, e bytes.Buffer
	s := command.Streams{In: strings.NewReader(""), Out: &o, Err: &e, Env: env}
	open := func(context.Context, settings.Settings) (*queries.DB, error) {
		return year(t), nil
	}
	status = command.Execute(context.Background(), newRoot(s, open), args, s)
	return status, o.String(), e.String()
}

func TestUsage(t *testing.T) {
	for name, c := range map[string]struct {
		args []string
		env  []string
		want string
	}{
		"unknown command":   {args: []string{"weekly"}, want: "weekly"},
		"unknown flag":      {args: []string{"flags", "--colour"}, want: "--colour"},
		"unknown variable":  {args: []string{"flags"}, env: []string{"HINDCHECK_STOER=x"}, want: "HINDCHECK_STOER"},
		"bad cut":           {args: []string{"flags", "--cut", "soon"}, want: "same_day, emergency"},
		"bad format":        {args: []string{"flags", "--format", "html"}, want: "expected text, csv or json"},
		"bad month":         {args: []string{"monthly", "--month", "July"}, want: "such as 2026-07"},
		"bad period":        {args: []string{"monthly", "--compare", "2026-08..2026-02"}, want: "the earlier month first"},
		"bad baseline":      {args: []string{"monthly", "--baseline", "last year"}, want: "such as 2026-02"},
		"no definition":     {args: []string{"monthly", "--also", "none.yaml"}, want: "--also: open none.yaml"},
		"no events":         {args: []string{"monthly", "--events", "none.yaml"}, want: "--events: open none.yaml"},
		"bad split":         {args: []string{"flags", "--by", "colour"}, want: "expected one of site, species"},
		"unknown question":  {args: []string{"query", "flag_count"}, want: "no question"},
		"unknown parameter": {args: []string{"query", "months", "--param", "x=1"}, want: "has no parameter x"},
		"broken parameter":  {args: []string{"query", "months", "--param", "x"}, want: "NAME=VALUE"},
		"unknown finding":   {args: []string{"query", "finding_values", "--param", "finding=level"}, want: "expected one of the dictionary"},
	} {
		t.Run(name, func(t *testing.T) {
			status, out, errs := report(t, c.env, c.args...)
			if status != command.Usage || !strings.Contains(errs, c.want) || out != "" {
				t.Errorf("status %d, output %q, message %q; want 2 and %q", status, out, errs, c.want)
			}
		})
	}
}

func TestFlagsFormats(t *testing.T) {
	status, out, errs := report(t, nil, "flags", "--format", "json")
	if status != 0 || errs != "" {
		t.Fatalf("status %d: %s", status, errs)
	}
	var got struct {
		Unit, Cut string
		Flags     []struct{ Flag, Stratum string }
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || got.Unit != "episode" || got.Cut != "same_day" || len(got.Flags) != 12 {
		t.Errorf("%+v, %v", got, err)
	}
	status, out, _ = report(t, nil, "flags", "--format", "csv", "--by", "species", "--cut", "emergency")
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if status != 0 || err != nil || len(rows) < 100 || rows[1][1] != "emergency" {
		t.Errorf("csv: status %d, %d rows, %v", status, len(rows), err)
	}
	status, out, _ = report(t, []string{"HINDCHECK_CUT=emergency"}, "flags")
	if status != 0 || !strings.Contains(out, "at the cut emergency") || !strings.Contains(out, "collapse") {
		t.Errorf("text: status %d\n%s", status, out)
	}
}

func TestMonthly(t *testing.T) {
	status, out, errs := report(t, nil, "monthly", "--out", "review")
	if status != 0 || errs != "" {
		t.Fatalf("status %d: %s", status, errs)
	}
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if len(lines) != 5 || !strings.HasPrefix(lines[0], "The evidence of") {
		t.Fatalf("output %q", out)
	}
	for i, name := range []string{"review-2026-07.html", "review-2026-07.json", "review-2026-07.csv", "summary-2026-07.html"} {
		if lines[i+1] != filepath.Join("review", name) {
			t.Errorf("line %q", lines[i+1])
		}
		if info, err := os.Stat(filepath.Join("review", name)); err != nil || info.Size() < 10000 {
			t.Errorf("%s: %v", name, err)
		}
	}
	for format, starts := range map[string]string{"text": "Monthly review, July 2026", "json": "{", "csv": "section,cut", "html": "<!doctype html>"} {
		if status, out, _ := report(t, nil, "monthly", "--format", format); status != 0 || !strings.HasPrefix(out, starts) {
			t.Errorf("%s: status %d, begins %.40q", format, status, out)
		}
	}
	if status, out, _ := report(t, nil, "monthly", "--month", "2026-09"); status != 0 || !strings.Contains(out, "September 2026 is not mature") {
		t.Errorf("a young month: status %d\n%.600s", status, out)
	}
}

func TestQuery(t *testing.T) {
	status, out, _ := report(t, nil, "query")
	if status != 0 || !strings.Contains(out, "missed_cases\n  Which episodes") || !strings.Contains(out, "--param cut") {
		t.Errorf("list: status %d\n%.300s", status, out)
	}
	for _, format := range []string{"csv", "json"} {
		if status, out, _ := report(t, nil, "query", "--format", format); status != 0 || len(out) < 1000 {
			t.Errorf("list as %s: status %d", format, status)
		}
	}
	status, out, _ = report(t, nil, "query", "missed_cases", "--format", "json", "--param", "cut=emergency")
	var rows []map[string]any
	if err := json.Unmarshal([]byte(out), &rows); status != 0 || err != nil || len(rows) == 0 || rows[0]["need_emergency"] != 1.0 {
		t.Errorf("json: status %d, %v, %d rows", status, err, len(rows))
	}
	status, out, _ = report(t, nil, "query", "months", "--format", "csv")
	if status != 0 || !strings.HasPrefix(out, "month,episodes\n202507,") {
		t.Errorf("csv: %d, %.60q", status, out)
	}
	status, out, _ = report(t, nil, "query", "flow", "--out", "flow.txt")
	if data, err := os.ReadFile("flow.txt"); status != 0 || out != "" || err != nil || !strings.HasPrefix(string(data), "level") {
		t.Errorf("out: %d, %q, %v", status, out, err)
	}
}

func TestVersionAndHelp(t *testing.T) {
	if status, out, _ := report(t, nil, "version"); status != 0 || !strings.HasPrefix(out, "hindcheck") {
		t.Errorf("version: %d, %q", status, out)
	}
	for _, c := range newRoot(command.Streams{}, nil).Commands() {
		if c.Example == "" {
			t.Errorf("report %s has no example", c.Name())
		}
		if status, out, _ := report(t, nil, c.Name(), "--help"); status != 0 || !strings.Contains(out, "Examples:") {
			t.Errorf("report %s --help: status %d", c.Name(), status)
		}
	}
}

// Every command that takes settings takes --quiet.
func TestEveryCommandTakesQuiet(t *testing.T) {
	var look func(c *cobra.Command)
	seen := 0
	look = func(c *cobra.Command) {
		if c.Flags().Lookup("config") != nil {
			if seen++; c.Flags().Lookup("quiet") == nil {
				t.Errorf("%s has no --quiet", c.CommandPath())
			}
		}
		for _, sub := range c.Commands() {
			look(sub)
		}
	}
	look(newRoot(command.Streams{}, nil))
	if seen < 10 {
		t.Errorf("looked at %d commands only", seen)
	}
}
