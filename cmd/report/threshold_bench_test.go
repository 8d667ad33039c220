package main

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"hindcheck/metrics"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/timingtest"
	"hindcheck/queries"
)

//go:embed testdata/bench/threshold_calls.sql
var thresholdCalls string

const (
	// thresholdValues is the number of readings of BenchmarkThreshold;
	// HINDCHECK_BENCH_VALUES sets another.
	thresholdValues = 100_000
	// thresholdPeerValues and thresholdPeerRuns are how many readings and resamples R
	// gets; HINDCHECK_BENCH_R_VALUES and HINDCHECK_BENCH_R_RUNS set others.
	thresholdPeerValues, thresholdPeerRuns = 20_000, 3
	thresholdDraws                         = 2_000
)

// BenchmarkThreshold measures the way from Parquet to the area under the ROC
// curve with DeLong's interval and a threshold with 2,000 resamples of its
// choice, beside testdata/bench/threshold_peer.R, in which pROC and cutpointr do
// the same from a CSV:
//
//	threshold   counts of each value in one scan, area, choice and resamples
//	count, area, resample   its parts
//	widest      the same of the finding with the most distinct values
//	R           what R takes for all readings and resamples, carried forward in
//	            proportion from the largest run that is worth waiting for;
//	            sorting takes more than that, so this favours R
//	R-run       what R took
//
// On what R was given both sides must come to the same area and variance, to
// one part in 10^9, and to the same threshold. The goal is 1,000 for
// R/threshold-wall.
//
//	HINDCHECK_BENCH_VALUES=5000000 HINDCHECK_BENCH_R_VALUES=1000000 HINDCHECK_BENCH_R_RUNS=10 \
//	  go test ./cmd/report -run '^$' -bench Threshold -benchtime 3x
func BenchmarkThreshold(b *testing.B) {
	withR(b)
	n, few, runs := benchNumber(b, "HINDCHECK_BENCH_VALUES", thresholdValues), benchNumber(b, "HINDCHECK_BENCH_R_VALUES", thresholdPeerValues), benchNumber(b, "HINDCHECK_BENCH_R_RUNS", thresholdPeerRuns)
	few = min(few, n)
	all, _ := thresholdStore(b, n)
	some, csv := thresholdStore(b, few)
	b.Run(fmt.Sprintf("values=%d/draws=%d", n, thresholdDraws), func(b *testing.B) {
		times := timingtest.New()
		for i := 0; b.Loop(); i++ {
			timingtest.Turns(i,
				func() { separate(b, all, "breathing_rate", times) },
				func() { times.Run("widest", func() { separate(b, all, "onset_h", timingtest.New()) }) },
				func() {
					peer := runThresholdPeer(b, csv, runs)
					peer.add(times, float64(n)/float64(few), float64(thresholdDraws)/float64(runs))
					peer.compare(b, separate(b, some, "breathing_rate", timingtest.New()))
				})
		}
		times.Report(b)
		times.Ratio(b, "R", "threshold")
		b.ReportMetric(float64(few), "R-run-values")
		b.ReportMetric(float64(runs), "R-run-resamples")
	})
}

// benchNumber is a size that the environment may set.
func benchNumber(b *testing.B, variable string, usual int) int {
	b.Helper()
	text := os.Getenv(variable)
	if text == "" {
		return usual
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		b.Fatalf("%s=%s: expected a number above 0", variable, text)
	}
	return n
}

func withR(b *testing.B) {
	b.Helper()
	if exec.Command("Rscript", "-e", "library(pROC); library(cutpointr)").Run() != nil {
		b.Skip("needs Rscript with pROC and cutpointr (Debian: r-cran-proc, r-cran-cutpointr)")
	}
}

// thresholdStore writes calls and opens them; csv is what R reads of them.
func thresholdStore(b *testing.B, calls int) (d *queries.DB, csv string) {
	b.Helper()
	db, err := duck.Open(context.Background(), duck.Options{Threads: 2, MemoryMB: 2000, TempDir: b.TempDir()})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { db.Close() })
	dir := b.TempDir()
	parquet, csv := filepath.Join(dir, "cases.parquet"), filepath.Join(dir, "values.csv")
	write, export, _ := strings.Cut(thresholdCalls, "-- and")
	for _, statement := range []string{
		strings.NewReplacer("{CALLS}", strconv.Itoa(calls), "{PATH}", duck.Quote(parquet)).Replace(write),
		"CREATE VIEW cases AS FROM read_parquet(" + duck.Quote(parquet) + ")",
		strings.Replace(export, "{PATH}", duck.Quote(csv), 1),
	} {
		if _, err := db.Exec(statement); err != nil {
			b.Fatal(err)
		}
	}
	if d, err = queries.New(db, queries.Describe(findings.Default(), nil)); err != nil {
		b.Fatal(err)
	}
	return d, csv
}

// separation is what one side came to.
type separation struct {
	readings, needed          int64
	sum                       float64
	area, variance, low, high float64
	threshold, youden         float64
}

// separate goes from files to the area and the threshold.
func separate(b *testing.B, d *queries.DB, finding string, times *timingtest.Times) (s separation) {
	b.Helper()
	var counts []metrics.ValueCount
	step := func(part string, f func() error) timingtest.Spent {
		from := timingtest.Now()
		if err := f(); err != nil {
			b.Fatal(err)
		}
		spent := from.Since()
		times.Add(part, spent)
		return spent
	}
	whole := step("count", func() error {
		scope := queries.Scope{From: 202501, To: 202612, MatureBefore: time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)}
		rows, err := d.FindingValues(context.Background(), scope, 3, finding)
		for _, r := range rows {
			v := metrics.ValueCount{Value: float64(r.Value)}
			if r.Need == 1 {
				v.Needed = r.N
			} else {
				v.NotNeeded = r.N
			}
			s.sum += v.Value * float64(r.N)
			s.readings, s.needed = s.readings+r.N, s.needed+v.Needed
			counts = append(counts, v)
		}
		return err
	})
	whole = whole.Plus(step("area", func() error {
		a, err := metrics.AUCDeLong(counts, metrics.HighIsBad, 0.95)
		s.area, s.variance, s.low, s.high = a.Value, a.Variance, a.Low, a.High
		return err
	}))
	whole = whole.Plus(step("resample", func() error {
		t, err := metrics.BootstrapThreshold(counts, metrics.HighIsBad, metrics.ByYouden(), thresholdDraws, 0, 0.95, rand.New(rand.NewPCG(1, 1)))
		s.threshold, s.youden = t.Choice.Threshold.Upper, t.Choice.Score
		return err
	}))
	times.Add("threshold", whole)
	return s
}

// peerRun is what R said.
type peerRun struct {
	figures  map[string][]float64
	versions string
}

func runThresholdPeer(b *testing.B, csv string, runs int) peerRun {
	b.Helper()
	cmd := exec.Command("Rscript", filepath.Join("testdata", "bench", "threshold_peer.R"), csv, strconv.Itoa(runs))
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		b.Fatalf("R: %v\n%s", err, stderr.String())
	}
	r := peerRun{figures: map[string][]float64{}}
	for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		words := strings.Fields(line)
		if words[0] == "versions" {
			r.versions = strings.Join(words[1:], " ")
			continue
		}
		for _, w := range words[1:] {
			x, err := strconv.ParseFloat(w, 64)
			if err != nil {
				b.Fatalf("R: %q: %v", line, err)
			}
			r.figures[words[0]] = append(r.figures[words[0]], x)
		}
	}
	return r
}

// add notes what R took, and what all readings and resamples would take.
func (r peerRun) add(times *timingtest.Times, larger, more float64) {
	var took, whole timingtest.Spent
	for step, times := range map[string]float64{"read": larger, "area": larger, "choice": larger, "bootstrap": larger * more} {
		s := r.figures["spent."+step]
		took = took.Plus(timingtest.Spent{Processor: inSeconds(s[0]), Wall: inSeconds(s[1])})
		whole = whole.Plus(timingtest.Spent{Processor: inSeconds(s[0] * times), Wall: inSeconds(s[1] * times)})
	}
	times.Add("R-run", took)
	times.Add("R", whole)
}

func inSeconds(s float64) time.Duration { return time.Duration(math.Round(s * float64(time.Second))) }

// compare fails unless both sides read the same and came to the same.
func (r peerRun) compare(b *testing.B, ours separation) {
	b.Helper()
	for what, pair := range map[string][2]float64{
		"rows": {r.figures["rows"][0], float64(ours.readings)}, "sum of values": {r.figures["sums"][0], ours.sum}, "in need": {r.figures["sums"][1], float64(ours.needed)},
		"area": {r.figures["area"][0], ours.area}, "variance of the area": {r.figures["variance"][0], ours.variance},
		"lower limit": {r.figures["limits"][0], ours.low}, "upper limit": {r.figures["limits"][1], ours.high},
		"threshold": {r.figures["threshold"][0], ours.threshold}, "Youden index": {r.figures["youden"][0], ours.youden},
	} {
		if math.Abs(pair[0]-pair[1]) > 1e-9*math.Abs(pair[0]) {
			b.Fatalf("%s: R says %.15g, we say %.15g", what, pair[0], pair[1])
		}
	}
}
