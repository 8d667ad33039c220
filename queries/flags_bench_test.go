package queries_test

import (
	"bytes"
	"context"
	"database/sql"
	_ "embed"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/timingtest"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

var (
	//go:embed testdata/bench/flag_filter.sql
	flagFilter string
	//go:embed testdata/bench/flag_csv.sql
	flagCSV string
)

// BenchmarkFlagTables measures the two-by-two tables of every flag by species
// and month beside three other ways to them, reading of files included:
//
//	tables   our question over Parquet
//	filter   DuckDB over the same Parquet, a FILTER for each flag and answer
//	csv      our question over the CSV that pandas reads
//	pandas   testdata/bench/flag_tables.py: read_csv and groupby; this pandas
//	         reads no Parquet. pandas-group is its groupby alone, once all is
//	         in memory, pandas-by-hand reading and numpy.bincount instead
//
// The CSV has a column a flag and leaves out the time of the call, which our
// question reads besides. All sides must come to the same tables. Reported are
// seconds and ratios as package timingtest has them. The goal is 20 for
// pandas/tables-wall.
//
//	HINDCHECK_BENCH_CALLS=10000000 go test ./queries -run '^$' -bench FlagTables -benchtime 3x
func BenchmarkFlagTables(b *testing.B) {
	python := withPandas(b)
	calls := queriestest.BenchCalls(b, flagCalls)
	stored, db, raw := replayStore(b, calls)
	flags := len(stored.Set.Flags)
	path := flagFile(b, raw, calls, flags)
	fromCSV := openFlagFile(b, path, flags, db.Meta())
	scope := queries.Scope{From: 202505, To: 202612, MatureBefore: time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)}
	b.Run(fmt.Sprintf("calls=%d/flags=%d", calls, flags), func(b *testing.B) {
		times := timingtest.New()
		var want, csv, plain, peer string
		var peakMB float64
		for i := 0; b.Loop(); i++ {
			timingtest.Turns(i,
				func() { times.Run("tables", func() { want = flagTables(b, db, scope) }) },
				func() { times.Run("filter", func() { plain = filterTables(b, raw, flags) }) },
				func() { times.Run("csv", func() { csv = flagTables(b, fromCSV, scope) }) },
				func() { peer, peakMB = pandasTables(b, python, path, times) })
			for side, got := range map[string]string{"filter": plain, "csv": csv, "pandas": peer} {
				if got != want {
					b.Fatalf("%s: %s", side, firstDifference(want, got))
				}
			}
		}
		times.Report(b)
		for _, peer := range []string{"pandas", "pandas-by-hand", "pandas-group", "filter"} {
			times.Ratio(b, peer, "tables")
		}
		times.Ratio(b, "pandas", "csv")
		b.ReportMetric(peakMB, "pandas-peak-MB")
		b.ReportMetric(float64(strings.Count(want, "\n")), "tables")
	})
}

// flagCalls is the size of BenchmarkFlagTables unless the environment asks for another.
const flagCalls = 48_000

// benchDir is a folder of this name that may outlive the run.
func benchDir(b *testing.B, name string) string {
	b.Helper()
	dir := os.Getenv("HINDCHECK_BENCH_DIR")
	if dir == "" {
		return b.TempDir()
	}
	dir = filepath.Join(dir, name)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		b.Fatal(err)
	}
	return dir
}

// withPandas finds a Python that has pandas.
func withPandas(b *testing.B) string {
	b.Helper()
	for _, python := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(python, "-c", "import pandas").Run() == nil {
			return python
		}
	}
	b.Skip("needs python3 with pandas (Debian: python3-pandas)")
	return ""
}

// flagFile writes the CSV unless it is there already.
func flagFile(b *testing.B, raw *sql.DB, calls, flags int) string {
	b.Helper()
	path := filepath.Join(benchDir(b, fmt.Sprintf("flag-columns-%d", calls)), "calls.csv")
	if _, err := os.Stat(path); err == nil {
		return path
	}
	var columns []string
	for i := range flags {
		columns = append(columns, fmt.Sprintf("CASE WHEN fired_0 >> %[1]d & 1 = 1 THEN 1 WHEN unknown_0 >> %[1]d & 1 = 1 THEN 2 ELSE 0 END AS flag_%[1]d", i))
	}
	write, _, _ := strings.Cut(flagCSV, "-- and")
	write = strings.NewReplacer("{FLAGS}", strings.Join(columns, ", "), "{PATH}", duck.Quote(path+".part")).Replace(write)
	if _, err := raw.Exec(write); err != nil {
		b.Fatal(err)
	}
	if err := os.Rename(path+".part", path); err != nil {
		b.Fatal(err)
	}
	return path
}

// openFlagFile opens the CSV as the cases of a store of its own.
func openFlagFile(b *testing.B, path string, flags int, meta queries.Meta) *queries.DB {
	b.Helper()
	raw, err := duck.Open(context.Background(), duck.Options{Threads: 2, MemoryMB: 4000, TempDir: b.TempDir()})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { raw.Close() })
	columns := []string{"'month': 'INTEGER'", "'species': 'VARCHAR'", "'need': 'TINYINT'"}
	var fired, unknown []string
	for i := range flags {
		columns = append(columns, fmt.Sprintf("'flag_%d': 'TINYINT'", i))
		fired = append(fired, fmt.Sprintf("((flag_%[1]d = 1)::UBIGINT << %[1]d)", i))
		unknown = append(unknown, fmt.Sprintf("((flag_%[1]d = 2)::UBIGINT << %[1]d)", i))
	}
	_, view, _ := strings.Cut(flagCSV, "-- and")
	view = strings.NewReplacer("{PATH}", duck.Quote(path), "{COLUMNS}", "{"+strings.Join(columns, ", ")+"}",
		"{FIRED}", strings.Join(fired, " | "), "{UNKNOWN}", strings.Join(unknown, " | ")).Replace(view)
	if _, err := raw.Exec(view); err != nil {
		b.Fatal(err)
	}
	d, err := queries.New(raw, meta)
	if err != nil {
		b.Fatal(err)
	}
	return d
}

// flagTables asks our question; a line is a flag, month and species.
func flagTables(b *testing.B, d *queries.DB, scope queries.Scope) string {
	b.Helper()
	rows, err := d.FlagTables(context.Background(), scope, 3)
	if err != nil {
		b.Fatal(err)
	}
	var out strings.Builder
	for _, r := range rows {
		fmt.Fprintf(&out, "%d,%d,%s,%d,%d,%d,%d,%d,%d,%d,%d,%d\n", r.Flag, r.Month, r.Species, r.TP, r.FP, r.FN, r.TN,
			r.UnknownNeeded, r.UnknownNotNeeded, r.PresentUnverified, r.AbsentUnverified, r.UnknownUnverified)
	}
	return out.String()
}

// filterTables runs the plain query and arranges its rows likewise.
func filterTables(b *testing.B, raw *sql.DB, flags int) string {
	b.Helper()
	var filters []string
	for i := range flags {
		filters = append(filters, fmt.Sprintf("count(*) FILTER (WHERE fired_0 >> %[1]d & 1 = 1), count(*) FILTER (WHERE unknown_0 >> %[1]d & 1 = 1)", i))
	}
	rows, err := raw.Query(strings.Replace(flagFilter, "{FILTERS}", strings.Join(filters, ", "), 1))
	if err != nil {
		b.Fatal(err)
	}
	defer rows.Close()
	type place struct {
		month   int
		species string
	}
	var order []place
	counts := map[place]map[int][]int64{}
	for rows.Next() {
		var p place
		var need int
		row := make([]int64, 1+2*flags)
		to := []any{&p.month, &p.species, &need}
		for i := range row {
			to = append(to, &row[i])
		}
		if err := rows.Scan(to...); err != nil {
			b.Fatal(err)
		}
		if counts[p] == nil {
			counts[p] = map[int][]int64{1: make([]int64, 1+2*flags), 0: make([]int64, 1+2*flags), -1: make([]int64, 1+2*flags)}
			order = append(order, p)
		}
		counts[p][need] = row
	}
	if err := rows.Err(); err != nil {
		b.Fatal(err)
	}
	var out strings.Builder
	for i := range flags {
		for _, p := range order {
			cell := func(need int) (fired, absent, unknown int64) {
				row := counts[p][need]
				return row[1+2*i], row[0] - row[1+2*i] - row[2+2*i], row[2+2*i]
			}
			tp, fn, un := cell(1)
			fp, tn, unot := cell(0)
			present, absent, unknown := cell(-1)
			fmt.Fprintf(&out, "%d,%d,%s,%d,%d,%d,%d,%d,%d,%d,%d,%d\n", i, p.month, p.species, tp, fp, fn, tn, un, unot, present, absent, unknown)
		}
	}
	return out.String()
}

// pandasTables runs the peer and adds what its steps took.
func pandasTables(b *testing.B, python, path string, times *timingtest.Times) (tables string, peakMB float64) {
	b.Helper()
	out := filepath.Join(b.TempDir(), "tables.csv")
	cmd := exec.Command(python, filepath.Join("testdata", "bench", "flag_tables.py"), path, out)
	var stdout, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	if err := cmd.Run(); err != nil {
		b.Fatalf("pandas: %v\n%s", err, stderr.String())
	}
	var r struct {
		Spent map[string]struct {
			Wall      float64 `json:"wall_s"`
			Processor float64 `json:"processor_s"`
		}
		PeakMB float64 `json:"peak_mb"`
	}
	if err := json.Unmarshal(stdout.Bytes(), &r); err != nil {
		b.Fatalf("pandas: %v", err)
	}
	spent := func(step string) timingtest.Spent {
		s := r.Spent[step]
		return timingtest.Spent{Processor: seconds(s.Processor), Wall: seconds(s.Wall)}
	}
	times.Add("pandas", spent("read").Plus(spent("group")))
	times.Add("pandas-read", spent("read"))
	times.Add("pandas-group", spent("group"))
	times.Add("pandas-by-hand", spent("read").Plus(spent("by_hand")))
	text, err := os.ReadFile(out)
	if err != nil {
		b.Fatal(err)
	}
	return string(text), r.PeakMB
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * float64(time.Second))) }

// firstDifference shows the first line in which two texts differ.
func firstDifference(want, got string) string {
	w, g := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range min(len(w), len(g)) {
		if w[i] != g[i] {
			return fmt.Sprintf("line %d is %q, ours %q", i+1, g[i], w[i])
		}
	}
	return fmt.Sprintf("%d lines, ours %d", len(g), len(w))
}
