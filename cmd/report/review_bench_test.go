package main

import (
	"bytes"
	"context"
	"database/sql"
	_ "embed"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"hindcheck/cmd/report/internal/demoline"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/pipeline/store"
	"hindcheck/pipeline/timingtest"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

//go:embed testdata/bench/review_peer.sql
var reviewPeer string

const (
	// reviewCalls is the size of BenchmarkReview; HINDCHECK_BENCH_CALLS sets another,
	// and HINDCHECK_BENCH_DIR a folder that keeps the store for the next run.
	reviewCalls = 24_000
	// benchThreads of both sides.
	benchThreads = 2
)

// BenchmarkReview measures report monthly --out from the store to the written
// files beside one scan that sums every column of the records that it reads
// (testdata/bench/review_peer.sql). The two take turns at going first. Reported
// are medians:
//
//	review-s, scan-s            seconds of processor time of this process
//	review-wall-s, scan-wall-s  the same by the clock
//	review/scan, with -wall     their ratios
//	review-MB                   peak memory of the whole process in the review, on Linux
//
// What the review says it counted must be what the scan summed. The goal is 4.0
// for review/scan-wall.
//
//	HINDCHECK_BENCH_DIR=~/bench HINDCHECK_BENCH_CALLS=10000000 go test ./cmd/report -run '^$' -bench Review -benchtime 3x -timeout 2h
func BenchmarkReview(b *testing.B) {
	calls := queriestest.BenchCalls(b, reviewCalls)
	store := reviewStore(b, calls)
	b.Run(fmt.Sprintf("calls=%d/threads=%d", calls, benchThreads), func(b *testing.B) {
		times, peak := timingtest.New(), 0.0
		var r *review.Review
		for i := 0; b.Loop(); i++ {
			var got map[string]int64
			timingtest.Turns(i,
				func() { r = timeReview(b, store, times, &peak) },
				func() { got = timeScan(b, store, r, times) }) // which months it reads, the first review has said
			if want := reviewSums(r); !maps.Equal(got, want) {
				b.Fatalf("the review counts %v, the scan %v", want, got)
			}
		}
		times.Report(b)
		times.Ratio(b, "review", "scan")
		b.ReportMetric(peak, "review-MB")
	})
}

// timeReview writes a review as the command does and reads back what it says.
func timeReview(b *testing.B, store string, times *timingtest.Times, peak *float64) *review.Review {
	b.Helper()
	out := b.TempDir()
	var stdout, stderr bytes.Buffer
	forgetPeak()
	times.Run("review", func() {
		args := []string{"monthly", "--store", store, "--out", out, "--threads", strconv.Itoa(benchThreads)}
		if code := Run(context.Background(), args, nil, strings.NewReader(""), &stdout, &stderr); code != 0 {
			b.Fatalf("status %d: %s", code, stderr.String())
		}
	})
	*peak = max(*peak, peakMB())
	names, err := filepath.Glob(filepath.Join(out, "review-*.json"))
	if err != nil || len(names) != 1 {
		b.Fatal(names, err)
	}
	data, err := os.ReadFile(names[0])
	if err != nil {
		b.Fatal(err)
	}
	r := new(review.Review)
	if err := json.Unmarshal(data, r); err != nil {
		b.Fatal(err)
	}
	return r
}

// timeScan runs the peer over the same files and gives its named sums.
func timeScan(b *testing.B, store string, r *review.Review, times *timingtest.Times) map[string]int64 {
	b.Helper()
	text := strings.NewReplacer("{FROM}", strings.Replace(r.Period.From, "-", "", 1), "{TO}", strings.Replace(r.Period.To, "-", "", 1),
		"{MATURE}", r.Maturity.MatureBefore.UTC().Format("2006-01-02 15:04:05.999999")).Replace(reviewPeer)
	sums := map[string]int64{}
	times.Run("scan", func() {
		v, err := queries.OpenViews(context.Background(), store, queries.OpenOptions{Threads: benchThreads})
		if err != nil {
			b.Fatal(err)
		}
		defer v.Close()
		for _, query := range strings.Split(strings.TrimSpace(text), ";\n") {
			if err := addSums(v.DB, query, sums); err != nil {
				b.Fatal(err)
			}
		}
	})
	return sums
}

// namedSums are the columns of the peer that the review states too.
var namedSums = []string{"episodes", "flags_fired", "needed", "not_needed", "people_hurt", "calls", "clinical_calls", "checks", "outcomes"}

func addSums(db *sql.DB, query string, into map[string]int64) error {
	rows, err := db.Query(query)
	if err != nil {
		return err
	}
	defer rows.Close()
	cols, err := rows.Columns()
	if err != nil {
		return err
	}
	values, to := make([]any, len(cols)), make([]any, len(cols))
	for i := range to {
		to[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(to...); err != nil {
			return err
		}
	}
	for i, name := range cols {
		if !slices.Contains(namedSums, name) {
			continue
		}
		if into[name], err = strconv.ParseInt(fmt.Sprint(values[i]), 10, 64); err != nil {
			return err
		}
	}
	return rows.Err()
}

// reviewSums are the same sums as the review states them.
func reviewSums(r *review.Review) map[string]int64 {
	sums := map[string]int64{
		"episodes": r.Data.FlowTotal.Episodes, "needed": r.Data.FlowTotal.Needed, "not_needed": r.Data.FlowTotal.NotNeeded,
		"people_hurt": r.Safety.InPeriod, "calls": r.Diagram.Records, "clinical_calls": r.Diagram.Clinical,
	}
	for _, f := range r.Flags[0].Flags {
		sums["flags_fired"] += f.Escalated.Present.Total()
	}
	for _, c := range r.Checks.ByHandling {
		sums["checks"] += int64(c.Done.Denominator) + c.NotAsked
	}
	for _, d := range r.Quality.Delays {
		if d.Month >= r.Period.From && d.Month <= r.Period.To {
			sums["outcomes"] += d.Outcomes
		}
	}
	return sums
}

// reviewStore makes the store, or finds the one that an earlier run has kept.
func reviewStore(b *testing.B, calls int) string {
	b.Helper()
	dir := os.Getenv("HINDCHECK_BENCH_DIR")
	if dir == "" {
		dir = b.TempDir()
	}
	if loaded := loadedStore(dir, calls); loaded != "" {
		return loaded
	}
	to := filepath.Join(dir, fmt.Sprintf("review-%d-of-%d-format-%d", calls, queriestest.InventedCalls, store.FormatVersion))
	if _, err := os.Stat(filepath.Join(to, "manifest.json")); err == nil {
		return to
	}
	line := filepath.Join(b.TempDir(), "line")
	opt := demoline.Options{Dir: line, Seed: 1, Calls: min(calls, queriestest.InventedCalls), Progress: func(string, int64) {}}
	if _, err := demoline.Make(context.Background(), opt); err != nil {
		b.Fatal(err)
	}
	if err := queriestest.Multiply(context.Background(), demoline.Store(line), to, max(1, calls/queriestest.InventedCalls)); err != nil {
		b.Fatal(err)
	}
	return to
}

// loadedStore finds a store of so many calls that was loaded piece by piece (the
// test LoadInPieces of package pipeline), where every call is invented by itself.
func loadedStore(dir string, calls int) string {
	found, _ := filepath.Glob(filepath.Join(dir, "pieces-*x*", "manifest.json"))
	for _, path := range found {
		var pieces, each int
		folder := filepath.Dir(path)
		if n, err := fmt.Sscanf(filepath.Base(folder), "pieces-%dx%d", &pieces, &each); n == 2 && err == nil && pieces*each == calls {
			return folder
		}
	}
	return ""
}

// forgetPeak makes Linux measure peak memory anew.
func forgetPeak() { _ = os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) }

// peakMB is the process's peak memory in megabytes, 0 where it is not told.
func peakMB() float64 {
	data, _ := os.ReadFile("/proc/self/status")
	_, rest, _ := strings.Cut(string(data), "VmHWM:")
	var kb float64
	_, _ = fmt.Sscan(rest, &kb)
	return kb / 1024
}
