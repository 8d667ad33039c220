package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hindcheck/cmd/internal/command"
	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/privacy"
)

// smallStore loads a month of the demonstration line into a folder on disk.
func smallStore(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, demo.Settings()); err != nil {
		t.Fatal(err)
	}
	exports := filepath.Join(dir, "exports")
	if _, err := demo.Generate(context.Background(), demo.Options{Seed: 5, Calls: 200, Dir: exports,
		From: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)}); err != nil {
		t.Fatal(err)
	}
	key, err := privacy.NewKey(bytes.Repeat([]byte{1, 2, 3, 4}, 8))
	if err != nil {
		t.Fatal(err)
	}
	store := filepath.Join(dir, "store")
	_, err = pipeline.Load(context.Background(), pipeline.LoadOptions{
		Store: store, Exports: []string{exports}, Sources: []string{filepath.Join(dir, "sources")},
		Files: pipeline.DefinitionFiles{Rules: filepath.Join(dir, "rules.yaml"), CaseDefinition: filepath.Join(dir, "case_definition.yaml"), Strata: filepath.Join(dir, "strata.yaml")},
		Key:   key, Now: time.Date(2026, 11, 10, 8, 0, 0, 0, time.UTC), Threads: 2, Software: "test",
	})
	if err != nil {
		t.Fatal(err)
	}
	return store
}

func TestSQL(t *testing.T) {
	store := smallStore(t)
	t.Chdir(t.TempDir())
	for name, c := range map[string]struct {
		args   []string
		in     string
		status int
		want   string // at the beginning of the output, or in the message
	}{
		"rows":           {args: []string{"SELECT count(*) > 50 AS many FROM cases"}, want: "many\ntrue\n"},
		"standard input": {args: []string{"-", "--format", "csv"}, in: "SELECT 1 AS a\n", want: "a\n1\n"},
		"json":           {args: []string{"SELECT 1 AS a", "--format", "json"}, want: "[\n  {\"a\":1}\n]\n"},
		"tables":         {args: []string{"--tables"}, want: "calls\n  call "},
		"tables as csv":  {args: []string{"--tables", "--format", "csv"}, want: "view,column,type\ncalls,call,\"UUID\"\n"},
		"functions":      {args: []string{"--functions"}, want: "!__postfix\n"},
		"file":           {args: []string{"SELECT 1 AS a", "--format", "parquet", "--out", "a.parquet"}, want: ""},
		"refused":        {args: []string{"DROP VIEW calls"}, status: command.Usage, want: "expected one SELECT"},
		"no query":       {status: command.Usage, want: "expected a SELECT"},
		"unquoted":       {args: []string{"SELECT", "1"}, status: command.Usage, want: "accepts at most 1 arg"},
		"stopped":        {args: []string{"SELECT count(*) FROM range(100000000) a, range(100000000) b WHERE a.range % 7 = b.range % 11", "--time-limit", "1s"}, status: command.Failed, want: "query stopped after 1s"},
		"no time":        {args: []string{"SELECT 1", "--time-limit", "-1s"}, status: command.Usage, want: "positive time"},
		"bad format":     {args: []string{"SELECT 1", "--format", "html"}, status: command.Usage, want: "text, csv, json, parquet or arrow"},
		"bad memory":     {args: []string{"SELECT 1", "--memory", "much"}, status: command.Usage, want: "4GB or 500MB"},
		"no store":       {args: []string{"SELECT 1", "--store", "nowhere"}, status: command.Failed, want: "no store here"},
	} {
		t.Run(name, func(t *testing.T) {
			var out, errs bytes.Buffer
			args := append([]string{"sql", "--store", store}, c.args...)
			status := Run(context.Background(), args, nil, strings.NewReader(c.in), &out, &errs)
			if status != c.status {
				t.Fatalf("status %d, want %d: %s", status, c.status, errs.String())
			}
			if c.status == 0 && (!strings.HasPrefix(out.String(), c.want) || errs.Len() > 0) {
				t.Errorf("output %.200q, message %q", out.String(), errs.String())
			}
			if c.status != 0 && (!strings.Contains(errs.String(), c.want) || out.Len() > 0) {
				t.Errorf("message %q, output %q", errs.String(), out.String())
			}
		})
	}
	if data, err := os.ReadFile("a.parquet"); err != nil || !bytes.HasPrefix(data, []byte("PAR1")) {
		t.Errorf("a.parquet: %v", err)
	}
}
