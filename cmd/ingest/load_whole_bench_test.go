package main

import (
	"context"
	_ "embed"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

var loadCalls = flag.Int("load-calls", 2_000, "calls of BenchmarkLoad; each has about six checks")

//go:embed testdata/bench/copy.sql
var copySQL string

//go:embed testdata/bench/stored.sql
var storedSQL string

// benchThreads and benchMemoryMB are the limits of both sides.
const (
	benchThreads  = 2
	benchMemoryMB = 400
)

// BenchmarkLoad measures a whole first load of the demonstration line beside
// DuckDB's bare copy of its calls and checks from CSV to Parquet
// (testdata/bench/copy.sql). The two take turns at going first. Reported, in
// seconds of processor time of this process where the system tells it (else of
// the clock) and a load:
//
//	read-s, records-s, cases-s, commit-s  the parts of the load
//	copy-s                                the bare copy
//	records/copy, cases/copy, load/copy   ratios of the totals
//	TABLE-size/duckdb                     bytes of our files to one file of
//	                                      the same rows written by DuckDB
//
// Both sides must have read the same rows, and a file that DuckDB wrote of our
// rows must hold the same ones: counts and hashes are compared in the same run.
//
// The goal is 1.0 for records/copy, and about as much again for cases/copy.
//
//	go test ./cmd/ingest -run x -bench Load -load-calls 500000 -benchtime 2x
func BenchmarkLoad(b *testing.B) {
	dir := benchLine(b, *loadCalls)
	b.Run(fmt.Sprintf("calls=%d/threads=%d", *loadCalls, benchThreads), func(b *testing.B) {
		spent := map[string]float64{}
		var last, peer string
		var sum *pipeline.Summary
		for i := 0; b.Loop(); i++ {
			out := b.TempDir()
			last, peer = filepath.Join(out, "store"), out
			sides := []func(){
				func() { sum = wholeLoad(b, dir, last, spent) },
				func() { copyExports(b, dir, out, spent) },
			}
			if i%2 == 1 {
				sides[0], sides[1] = sides[1], sides[0]
			}
			for _, side := range sides {
				side()
			}
		}
		for part, s := range spent {
			b.ReportMetric(s/float64(b.N), part+"-s")
		}
		whole := spent["read"] + spent["records"] + spent["cases"] + spent["commit"]
		for name, s := range map[string]float64{"records": spent["records"], "cases": spent["cases"], "load": whole} {
			b.ReportMetric(s/spent["copy"], name+"/copy")
		}
		sameRows(b, sum, peer)
		reportSizes(b, last)
	})
}

// benchLine writes exports of the demonstration line with its descriptions and
// definitions beside them.
func benchLine(b *testing.B, calls int) string {
	b.Helper()
	dir := b.TempDir()
	if _, err := demo.Generate(context.Background(), demo.Options{Seed: 1, Calls: calls, Dir: filepath.Join(dir, "exports")}); err != nil {
		b.Fatal(err)
	}
	if err := os.CopyFS(dir, demo.Settings()); err != nil && !os.IsExist(err) {
		b.Fatal(err)
	}
	return dir
}

// wholeLoad loads the line and adds the time of each part to spent.
func wholeLoad(b *testing.B, dir, into string, spent map[string]float64) *pipeline.Summary {
	b.Helper()
	key, err := privacy.NewKey([]byte("a key that is only for measuring"))
	if err != nil {
		b.Fatal(err)
	}
	part, since := "read", processorTime()
	enter := func(next string) {
		now := processorTime()
		spent[part] += (now - since).Seconds()
		part, since = next, now
	}
	sum, err := pipeline.Load(context.Background(), pipeline.LoadOptions{
		Store: into, Exports: []string{filepath.Join(dir, "exports")}, Sources: []string{filepath.Join(dir, "sources")},
		Files: pipeline.DefinitionFiles{Rules: filepath.Join(dir, "rules.yaml"),
			CaseDefinition: filepath.Join(dir, "case_definition.yaml"), Strata: filepath.Join(dir, "strata.yaml")},
		Key: key, Now: time.Date(2026, 11, 10, 8, 0, 0, 0, time.UTC), Threads: benchThreads, MemoryMB: benchMemoryMB, Software: "benchmark",
		Progress: func(step string, _ int64) {
			if next := partOf(step); next != part {
				enter(next)
			}
		},
	})
	enter("")
	if err != nil {
		b.Fatal(err)
	}
	return sum
}

// sameRows fails unless the peer's files hold the rows that the load read,
// without those too short to be rows, which the peer passes over.
func sameRows(b *testing.B, sum *pipeline.Summary, peer string) {
	b.Helper()
	var ours int64
	for _, e := range sum.Exports {
		if strings.HasPrefix(e.Name, "calls-") || strings.HasPrefix(e.Name, "checks-") {
			ours += e.Sums.Rows
		}
	}
	ours -= sum.Aside["broken_row"]
	n, _ := fingerprint(b, []string{filepath.Join(peer, "calls.parquet"), filepath.Join(peer, "checks.parquet")}, "1")
	if n != ours {
		b.Errorf("the load read %d whole rows of calls and checks, the copy %d", ours, n)
	}
}

// fingerprint counts the rows of Parquet files and sums hashes of an expression.
func fingerprint(b *testing.B, paths []string, expression string) (n int64, sum string) {
	b.Helper()
	db, err := duck.Open(context.Background(), duck.Options{Threads: benchThreads})
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	query := "SELECT count(*), coalesce(sum(hash(" + expression + ")::HUGEINT)::VARCHAR, '') FROM read_parquet(" + duck.FileList(paths) + ", hive_partitioning = false, union_by_name = true) r"
	if err := db.QueryRow(query).Scan(&n, &sum); err != nil {
		b.Fatal(err)
	}
	return n, sum
}

// partOf sorts the steps that a load tells of.
func partOf(step string) string {
	switch {
	case strings.HasPrefix(step, "read "):
		return "read"
	case step == "derive cases", step == "commit":
		return strings.TrimPrefix(step, "derive ")
	}
	return "records"
}

// copyExports runs the peer.
func copyExports(b *testing.B, dir, out string, spent map[string]float64) {
	b.Helper()
	since := processorTime()
	for _, name := range []string{"calls", "checks"} {
		runSQL(b, copySQL, out, "EXPORTS", duck.Quote(filepath.Join(dir, "exports", name+"-*.csv")), "TARGET", duck.Quote(filepath.Join(out, name+".parquet")))
	}
	spent["copy"] += (processorTime() - since).Seconds()
}

// runSQL fills in the literals and runs a statement; spilled blocks go to temp.
func runSQL(b *testing.B, query, temp string, literals ...string) {
	b.Helper()
	var lines []string
	for _, l := range strings.Split(query, "\n") {
		if !strings.HasPrefix(l, "--") {
			lines = append(lines, l)
		}
	}
	db, err := duck.Open(context.Background(), duck.Options{Threads: benchThreads, MemoryMB: benchMemoryMB, TempDir: filepath.Join(temp, "spill")})
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(strings.NewReplacer(literals...).Replace(strings.Join(lines, "\n"))); err != nil {
		b.Fatal(err)
	}
}

// reportSizes compares the bytes of our files with DuckDB's own.
func reportSizes(b *testing.B, dir string) {
	b.Helper()
	s, err := store.Open(dir)
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	tables := map[string][]string{"cases": s.Paths(store.Cases, "")}
	for _, name := range resolve.Tables[:3] {
		tables[name] = s.Paths(store.Current, name)
	}
	out := b.TempDir()
	for name, paths := range tables {
		target := filepath.Join(out, name+".parquet")
		runSQL(b, storedSQL, out, "FILES", duck.FileList(paths), "TARGET", duck.Quote(target))
		n, sum := fingerprint(b, paths, "r")
		if m, same := fingerprint(b, []string{target}, "r"); m != n || same != sum {
			b.Errorf("%s: %d rows, hash %s; DuckDB's own file %d rows, hash %s", name, n, sum, m, same)
		}
		b.ReportMetric(float64(size(b, paths...))/float64(size(b, target)), name+"-size/duckdb")
	}
}

func size(b *testing.B, paths ...string) (n int64) {
	b.Helper()
	for _, p := range paths {
		info, err := os.Stat(p)
		if err != nil {
			b.Fatal(err)
		}
		n += info.Size()
	}
	return n
}
