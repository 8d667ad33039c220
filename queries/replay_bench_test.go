package queries_test

import (
	"context"
	"database/sql"
	_ "embed"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/store"
	"hindcheck/pipeline/timingtest"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

//go:embed testdata/bench/replay_peer.sql
var replayPeer string

// replayCalls is the size of BenchmarkReplay; HINDCHECK_BENCH_CALLS sets another,
// and HINDCHECK_BENCH_DIR a folder that keeps the files for the next run.
const replayCalls = 6_000

// BenchmarkReplay measures what a replay asks of DuckDB beside a scan that sums
// every column used (testdata/bench/replay_peer.sql), on the Parquet files of a
// store. The two take turns at going first. Reported are medians, in seconds of
// processor time of this process (-s) and by the clock (-wall-s):
//
//	replay       which episodes move, and all that a replay asks
//	peer         the scan
//	replay/peer  their ratio
//
// The goal is 2.0 for replay/peer-wall. change=threshold is a proposal that moves one
// threshold, change=demands one that changes what five flags demand, change=flag one
// with a new flag, and change=all one of which no flag is as before.
//
//	HINDCHECK_BENCH_CALLS=10000000 go test ./queries -run '^$' -bench Replay -benchtime 3x
func BenchmarkReplay(b *testing.B) {
	calls := queriestest.BenchCalls(b, replayCalls)
	stored, db, raw := replayStore(b, calls)
	scope := queries.Scope{From: 202505, To: 202612, MatureBefore: time.Date(2026, 9, 1, 0, 0, 0, 0, time.UTC)}
	for _, c := range []struct {
		change, findings string
		edit             func(*rules.Set)
	}{
		{"threshold", "sum(f_breathing_rate) AS breathing_rate", func(s *rules.Set) {
			f := &s.Flags[slices.IndexFunc(s.Flags, func(f rules.Flag) bool { return f.ID == "fast_breathing_cat" })]
			f.All = []rules.Condition{{Finding: "breathing_rate", Lower: rules.Bound{Text: "40", Inclusive: true}}}
		}},
		{"demands", "NULL AS nothing", func(s *rules.Set) {
			for _, i := range []int{4, 10, 26, 38, 40} {
				s.Flags[i].Demands = 7 - s.Flags[i].Demands // emergency and same day change places
				if !s.Flags[i].Demands.Valid() {
					s.Flags[i].Demands = 3
				}
			}
		}},
		{"flag", "sum(f_heart_rate) AS heart_rate", func(s *rules.Set) {
			s.Flags = append(s.Flags, rules.Flag{ID: "fast_heart", Title: "fast heart", Why: "tried", Demands: 3, Species: []string{"cat"},
				Age: rules.AgeSpan{AtLeast: -1, Below: -1}, All: []rules.Condition{{Finding: "heart_rate", Lower: rules.Bound{Text: "200", Inclusive: true}}}})
		}},
		{"all", everyFinding(stored), func(s *rules.Set) {
			for i := range s.Flags {
				if f := &s.Flags[i]; f.Age.Limits() {
					f.Age.AtLeast++
				} else {
					f.Age.AtLeast, f.Age.Below = 0, 1000
				}
			}
		}},
	} {
		set := *stored.Set
		set.ID, set.Flags = "proposed", slices.Clone(set.Flags)
		c.edit(&set)
		program, err := rules.Compile(&set, stored.Dict)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(fmt.Sprintf("calls=%d/change=%s", calls, c.change), func(b *testing.B) {
			peer := strings.Replace(replayPeer, "{CHANGED}", c.findings, 1)
			measureReplay(b, db, raw, scope, queries.Replay{Proposed: program}, peer)
		})
	}
}

// everyFinding sums what the rules look at when no stored answer serves.
func everyFinding(g *rules.Program) string {
	sums := []string{"sum(strlen(sex)) AS sex", "sum(strlen(neutered)) AS neutered", "sum(strlen(breed_group)) AS breed_group"}
	for _, id := range g.Findings() {
		sums = append(sums, fmt.Sprintf("sum(f_%[1]s) AS %[1]s", id))
	}
	return strings.Join(sums, ", ")
}

// measureReplay runs both sides in turn and holds their checksums together.
func measureReplay(b *testing.B, db *queries.DB, raw *sql.DB, scope queries.Scope, p queries.Replay, peer string) {
	ctx := context.Background()
	times := timingtest.New()
	timed := func(part string, f func() error) {
		times.Run(part, func() {
			if err := f(); err != nil {
				b.Fatal(err)
			}
		})
	}
	var ours, theirs [7]int64
	var groups int
	replay := func() {
		timed("replay", func() error {
			rows, err := db.ReplayRows(ctx, scope, p, 25, 3, 20, 8)
			ours, groups = replaySum(rows.Counts), len(rows.Counts)
			return err
		})
	}
	scan := func() { timed("peer", func() error { return peerSum(raw, peer, &theirs) }) }
	for i := 0; b.Loop(); i++ {
		timingtest.Turns(i, replay, scan)
		if ours != theirs {
			b.Fatalf("the replay adds up to %v, the scan to %v", ours, theirs)
		}
	}
	times.Report(b)
	times.Ratio(b, "replay", "peer")
	b.ReportMetric(float64(groups), "groups")
}

// replaySum adds up the rows of a replay as the peer adds up the calls.
func replaySum(rows []queries.ReplayCountsRow) (s [7]int64) {
	for _, r := range rows {
		for i, x := range []int64{1, int64(r.Month), int64(r.Level), int64(r.OldLevel), int64(r.NeedEmergency), int64(r.NeedSameDay), int64(r.Route)} {
			s[i] += x * r.N
		}
	}
	return s
}

func peerSum(db *sql.DB, query string, into *[7]int64) error {
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
	for i := range into {
		switch v := values[i].(type) {
		case int64:
			into[i] = v
		case *big.Int:
			into[i] = v.Int64()
		}
	}
	return rows.Err()
}

// replayStore opens a store of about as many calls: those of the demonstration
// line, copied, so that flags, outcomes and what was not asked are as often as they
// are there. raw is a database of its own with the same files as the view cases.
func replayStore(b *testing.B, calls int) (stored *rules.Program, db *queries.DB, raw *sql.DB) {
	b.Helper()
	ctx := context.Background()
	dir := benchDir(b, fmt.Sprintf("cases-%d-of-%d-format-%d", calls, queriestest.InventedCalls, store.FormatVersion))
	if _, err := os.Stat(filepath.Join(dir, "manifest.json")); err != nil {
		line := loadLine(b, min(calls, queriestest.InventedCalls))
		if err := queriestest.Multiply(ctx, line, dir, max(1, calls/queriestest.InventedCalls), store.Cases); err != nil {
			b.Fatal(err)
		}
	}
	db, err := queries.Open(ctx, dir, queries.OpenOptions{Threads: 2, MemoryMB: 4000})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { db.Close() })
	if stored, err = db.InForce(); err != nil {
		b.Fatal(err)
	}
	s, err := store.Open(dir)
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	if raw, err = duck.Open(ctx, duck.Options{Threads: 2, MemoryMB: 4000, TempDir: b.TempDir()}); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { raw.Close() })
	if _, err := raw.Exec("CREATE VIEW cases AS SELECT * FROM read_parquet(" + duck.FileList(s.Paths(store.Cases, "")) + ", hive_partitioning = false)"); err != nil {
		b.Fatal(err)
	}
	return stored, db, raw
}

// loadLine loads the demonstration line into a store.
func loadLine(b *testing.B, calls int) string {
	b.Helper()
	dir := b.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	if _, err := demo.Generate(context.Background(), demo.Options{Seed: 1, Calls: calls, Dir: at("exports")}); err != nil {
		b.Fatal(err)
	}
	if err := os.CopyFS(dir, demo.Settings()); err != nil {
		b.Fatal(err)
	}
	key, err := privacy.NewKey([]byte("a key that is only for measuring"))
	if err != nil {
		b.Fatal(err)
	}
	_, err = pipeline.Load(context.Background(), pipeline.LoadOptions{
		Store: at("store"), Exports: []string{at("exports")}, Sources: []string{at("sources")}, Key: key,
		Files: pipeline.DefinitionFiles{Rules: at("rules.yaml"), CaseDefinition: at("case_definition.yaml"), Strata: at("strata.yaml")},
		Now:   time.Date(2026, 11, 10, 8, 0, 0, 0, time.UTC), Threads: 2, Software: "benchmark",
	})
	if err != nil {
		b.Fatal(err)
	}
	return at("store")
}
