package main

import "fmt"

// size chooses how much data a measurement takes.
type size int

const (
	smallSize size = iota
	fullSize       // the sizes of the goals
)

// of picks by size.
func of[T any](s size, smaller, larger T) T {
	if s == fullSize {
		return larger
	}
	return smaller
}

// work is one benchmark, test or command, and the lines that it gives.
type work struct {
	name string
	// pkg and the regular expressions are those of go test; test is set for a
	// test that logs what it found. Neither: see demoRuns.
	pkg, bench, test string
	// args and env depend on the size.
	args func(size) []string
	env  func(size) []string
	// lines are read from each benchmark result.
	lines []line
	// named says that it is run only where --only names it.
	named bool
}

// line is one line of the table: which reported figures it shows.
type line struct {
	work, peer string
	// within is a part of the benchmark's name; only results with it count.
	within string
	// ours, theirs and ratio are units of reported figures, empty for none. The
	// first that was reported is taken where several stand with blanks between.
	ours, theirs, ratio string
	// unit of ours and theirs.
	unit string
	// goal is for the ratio, or for ours where there is none; nought is no goal.
	goal float64
	// target is better than the goal; nought is none.
	target float64
	// atLeast says that more is better.
	atLeast bool
	// alone says that there is no second side whose result could differ.
	alone bool
}

func calls(small, full int) func(size) []string {
	return func(s size) []string { return []string{fmt.Sprintf("HINDCHECK_BENCH_CALLS=%d", of(s, small, full))} }
}

func times(small, full int) func(size) []string {
	return func(s size) []string { return []string{"-benchtime", fmt.Sprintf("%dx", of(s, small, full))} }
}

const bareCopy = "DuckDB's bare copy from CSV to Parquet"

// works are all measurements, in the order of the table.
var works = []work{
	{
		name: "load", pkg: "./cmd/ingest", bench: "^BenchmarkLoad$",
		args: func(s size) []string {
			return []string{"-benchtime", of(s, "3x", "5x"), "-load-calls", fmt.Sprint(of(s, 50_000, 5_000_000))}
		},
		lines: []line{
			{work: "load: reading, calls and checks", peer: bareCopy, ours: "rows-wall-s", theirs: "copy-wall-s", ratio: "rows/copy-wall", unit: "s", goal: 1.0, target: 0.8},
			{work: "load: episodes, outcomes, links, cases", peer: bareCopy, ours: "derived-wall-s", theirs: "copy-wall-s", ratio: "derived/copy-wall", unit: "s", goal: 1.0},
			{work: "bytes of calls", peer: "DuckDB's zstd file of the same rows", ours: "calls-MB", theirs: "calls-duckdb-MB", ratio: "calls-size/duckdb", unit: "MB", goal: 0.9},
			{work: "bytes of checks", peer: "likewise", ours: "checks-MB", theirs: "checks-duckdb-MB", ratio: "checks-size/duckdb", unit: "MB", goal: 0.9},
			{work: "bytes of outcomes", peer: "likewise", ours: "outcomes-MB", theirs: "outcomes-duckdb-MB", ratio: "outcomes-size/duckdb", unit: "MB", goal: 0.9},
			{work: "bytes of cases", peer: "likewise", ours: "cases-MB", theirs: "cases-duckdb-MB", ratio: "cases-size/duckdb", unit: "MB", goal: 0.9},
		},
	},
	{
		name: "memory", pkg: "./pipeline", test: "^TestPeakMemoryOfALoad$",
		env:   func(s size) []string { return []string{"LOAD_PEAK_CALLS=" + of(s, "20000", "1000000,5000000")} },
		lines: []line{{work: "peak memory of a load", ours: "peak-MB", unit: "MB", goal: 600, alone: true}},
	},
	{
		name: "pieces", pkg: "./pipeline", test: "^TestLoadInPieces$",
		env:   func(s size) []string { return []string{"LOAD_PIECES=" + of(s, "3x10000", "20x5000000")} },
		lines: []line{{work: "peak memory, piece by piece", ours: "peak-MB", unit: "MB", goal: 600, alone: true}},
	},
	{
		name: "review", pkg: "./cmd/report", bench: "^BenchmarkReview$", args: times(2, 3), env: calls(240_000, 10_000_000),
		lines: []line{
			{work: "whole monthly review", peer: "DuckDB scan that sums every column used", ours: "review-wall-s", theirs: "scan-wall-s", ratio: "review/scan-wall", unit: "s", goal: 4},
			{work: "peak memory of the review", ours: "review-MB", unit: "MB", goal: 6144, alone: true},
		},
	},
	{
		name: "hundred", named: true, pkg: "./cmd/report", bench: "^BenchmarkReview$", args: times(1, 1), env: calls(480_000, 100_000_000),
		lines: []line{
			{work: "monthly review of 100 million calls", peer: "DuckDB scan that sums every column used", ours: "review-wall-s", theirs: "scan-wall-s", unit: "s", goal: 120},
			{work: "its peak memory", ours: "review-MB", unit: "MB", goal: 6144, alone: true},
		},
	},
	{
		name: "flags", pkg: "./queries", bench: "^BenchmarkFlagTables$", args: times(2, 3), env: calls(480_000, 10_000_000),
		lines: []line{
			{work: "tables of every flag by species and month", peer: "pandas read_csv and groupby (no Parquet reader)", ours: "tables-wall-s", theirs: "pandas-wall-s", ratio: "pandas/tables-wall", unit: "s", goal: 20, atLeast: true},
			{work: "the same", peer: "pandas groupby alone, data in memory", ours: "tables-wall-s", theirs: "pandas-group-wall-s", ratio: "pandas-group/tables-wall", unit: "s"},
			{work: "the same", peer: "read_csv and numpy.bincount by hand", ours: "tables-wall-s", theirs: "pandas-by-hand-wall-s", ratio: "pandas-by-hand/tables-wall", unit: "s"},
			{work: "the same", peer: "DuckDB, same Parquet, a FILTER a flag", ours: "tables-wall-s", theirs: "filter-wall-s", ratio: "filter/tables-wall", unit: "s"},
			{work: "the same from the CSV that pandas reads", peer: "pandas read_csv and groupby", ours: "csv-wall-s", theirs: "pandas-wall-s", ratio: "pandas/csv-wall", unit: "s"},
		},
	},
	{
		name: "threshold", pkg: "./cmd/report", bench: "^BenchmarkThreshold$", args: times(1, 3),
		env: func(s size) []string {
			return []string{fmt.Sprintf("HINDCHECK_BENCH_VALUES=%d", of(s, 500_000, 5_000_000)), fmt.Sprintf("HINDCHECK_BENCH_R_VALUES=%d", of(s, 50_000, 1_000_000)),
				fmt.Sprintf("HINDCHECK_BENCH_R_RUNS=%d", of(s, 5, 100))}
		},
		lines: []line{
			{work: "ROC area, DeLong, 2,000 resamples of the threshold", peer: "R pROC and cutpointr, carried forward", ours: "threshold-wall-s", theirs: "R-wall-s", ratio: "R/threshold-wall", unit: "s", goal: 1000, atLeast: true},
			{work: "the same of hours in tenths, 7,000 values", ours: "widest-wall-s", unit: "s", alone: true},
		},
	},
	{
		name: "replay", pkg: "./queries", bench: "^BenchmarkReplay$", args: times(2, 3), env: calls(240_000, 10_000_000),
		lines: []line{
			{work: "replay, a threshold moved", peer: "DuckDB scan that sums the same columns", within: "change=threshold", ours: "replay-wall-s", theirs: "peer-wall-s", ratio: "replay/peer-wall", unit: "s", goal: 2},
			{work: "replay, five demands changed", peer: "likewise", within: "change=demands", ours: "replay-wall-s", theirs: "peer-wall-s", ratio: "replay/peer-wall", unit: "s", goal: 2},
			{work: "replay, a flag added", peer: "likewise", within: "change=flag", ours: "replay-wall-s", theirs: "peer-wall-s", ratio: "replay/peer-wall", unit: "s", goal: 2},
			{work: "replay, every flag changed", peer: "likewise", within: "change=all", ours: "replay-wall-s", theirs: "peer-wall-s", ratio: "replay/peer-wall", unit: "s", goal: 2},
		},
	},
	{
		name: "demo",
		lines: []line{
			{work: "report demo, 24,000 calls: best of the runs", ours: "best-s", unit: "s", goal: 5, alone: true},
			{work: "report demo, 24,000 calls: median", ours: "median-s", unit: "s", goal: 5, alone: true},
		},
	},
}
