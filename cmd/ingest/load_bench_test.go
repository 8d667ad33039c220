package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/intake"
	"hindcheck/pipeline/intake/benchdata"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/source"
)

var benchCalls = flag.Int("calls", 100_000, "calls of BenchmarkStage; each has four checks")

// BenchmarkStage measures reading, checking, mapping, pseudonymising and
// writing an export as Parquet (way=stage) beside DuckDB's bare copy of the
// same file from CSV to Parquet with the same number of threads (way=copy),
// which does none of these. The goal is 0.8 of the copy's time over both files.
//
//	go test ./cmd/ingest -run '^$' -bench Stage -calls 5000000 -benchtime 1x -count 5
func BenchmarkStage(b *testing.B) {
	threads := min(2, runtime.GOMAXPROCS(0))
	calls, checks, err := benchdata.Write(b.TempDir(), *benchCalls)
	if err != nil {
		b.Fatal(err)
	}
	for _, f := range []struct {
		record, path string
		yaml         []byte
		rows         int
	}{{"calls", calls, benchdata.CallsYAML, *benchCalls}, {"checks", checks, benchdata.ChecksYAML, *benchCalls * benchdata.ChecksPerCall}} {
		for way, run := range map[string]func(b *testing.B, path, out string){
			"stage": func(b *testing.B, path, out string) { stage(b, path, out, f.yaml, threads) },
			"copy":  func(b *testing.B, path, out string) { copyCSV(b, path, out, threads) },
		} {
			b.Run(fmt.Sprintf("record=%s/way=%s", f.record, way), func(b *testing.B) {
				info, err := os.Stat(f.path)
				if err != nil {
					b.Fatal(err)
				}
				b.SetBytes(info.Size())
				for b.Loop() {
					run(b, f.path, b.TempDir())
				}
				b.ReportMetric(float64(f.rows*b.N)/b.Elapsed().Seconds(), "rows/s")
			})
		}
	}
}

func stage(b *testing.B, path, out string, yaml []byte, threads int) {
	b.Helper()
	key, err := privacy.NewKey([]byte("a key that is only for measuring"))
	if err != nil {
		b.Fatal(err)
	}
	desc, err := source.Parse("bench.yaml", yaml, findings.Default())
	if err != nil {
		b.Fatal(err)
	}
	r, err := intake.Read(context.Background(), intake.Input{Path: path, Desc: desc, Dict: findings.Default(), Key: key, Dir: out, Workers: threads})
	if err != nil {
		b.Fatal(err)
	}
	if r.Staged == 0 {
		b.Fatal("nothing staged")
	}
}

func copyCSV(b *testing.B, path, out string, threads int) {
	b.Helper()
	db, err := duck.Open(context.Background(), duck.Options{Threads: threads, MemoryMB: 4096})
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	q := fmt.Sprintf("COPY (FROM read_csv(%s)) TO %s (FORMAT parquet, COMPRESSION zstd)", duck.Quote(path), duck.Quote(filepath.Join(out, "copy.parquet")))
	if _, err := db.Exec(q); err != nil {
		b.Fatal(err)
	}
}
