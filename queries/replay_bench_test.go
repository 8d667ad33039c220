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
	"strconv"
	"strings"
	"testing"
	"time"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

//go:embed testdata/bench/replay_peer.sql
var replayPeer string

//go:embed testdata/bench/replay_cases.sql
var replayCases string

// replayCalls is the size of BenchmarkReplay; HINDCHECK_BENCH_CALLS sets another,
// and HINDCHECK_BENCH_DIR a folder that keeps the files for the next run.
const replayCalls = 100_000

// BenchmarkReplay measures what a replay asks of DuckDB beside a scan that sums
// every column used (testdata/bench/replay_peer.sql), on the Parquet files of a
// store. The two take turns at going first. Reported, in seconds of processor
// time of this process and a run:
//
//	counts-s, episodes-s, days-s  the questions of a replay
//	peer-s                        the scan
//	replay/peer                   (counts + episodes) over the scan
//	counts/peer                   the counts alone over the scan
//
// The goal is 2.0 for replay/peer. change=threshold is a proposal that moves one
// threshold, change=demands one that changes what five flags demand.
//
//	HINDCHECK_BENCH_CALLS=10000000 go test ./queries -run x -bench Replay -benchtime 3x
func BenchmarkReplay(b *testing.B) {
	calls := replayCalls
	if text := os.Getenv("HINDCHECK_BENCH_CALLS"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil {
			b.Fatal(err)
		}
		calls = n
	}
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

// measureReplay runs both sides in turn and holds their checksums together.
func measureReplay(b *testing.B, db *queries.DB, raw *sql.DB, scope queries.Scope, p queries.Replay, peer string) {
	ctx := context.Background()
	spent := map[string]float64{}
	timed := func(part string, f func() error) {
		from := processorTime()
		if err := f(); err != nil {
			b.Fatal(err)
		}
		spent[part] += (processorTime() - from).Seconds()
	}
	var ours, theirs [7]int64
	var groups int
	replay := func() {
		timed("counts", func() error {
			rows, err := db.ReplayCounts(ctx, scope, p)
			ours, groups = replaySum(rows), len(rows)
			return err
		})
		timed("episodes", func() error { _, err := db.ReplayEpisodes(ctx, scope, p, 25); return err })
		timed("days", func() error { _, err := db.ReplayDays(ctx, scope, p, 3, 20, 8); return err })
	}
	scan := func() { timed("peer", func() error { return peerSum(raw, peer, &theirs) }) }
	for i := 0; b.Loop(); i++ {
		if i%2 == 0 {
			replay()
			scan()
		} else {
			scan()
			replay()
		}
		if ours != theirs {
			b.Fatalf("the replay adds up to %v, the scan to %v", ours, theirs)
		}
	}
	for part, s := range spent {
		b.ReportMetric(s/float64(b.N), part+"-s")
	}
	b.ReportMetric((spent["counts"]+spent["episodes"])/spent["peer"], "replay/peer")
	b.ReportMetric(spent["counts"]/spent["peer"], "counts/peer")
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

// replayStore writes the calls as a store keeps them, a Parquet file a month, and
// opens them.
func replayStore(b *testing.B, calls int) (*rules.Program, *queries.DB, *sql.DB) {
	b.Helper()
	dict := findings.Default()
	set, err := rules.Load("../datasets/demo/rules.yaml")
	if err != nil {
		b.Fatal(err)
	}
	program, err := rules.Compile(set, dict)
	if err != nil {
		b.Fatal(err)
	}
	db, err := duck.Open(context.Background(), duck.Options{Threads: 2, MemoryMB: 4000, TempDir: b.TempDir()})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { db.Close() })
	dir := os.Getenv("HINDCHECK_BENCH_DIR")
	if dir == "" {
		dir = b.TempDir()
	}
	dir = filepath.Join(dir, fmt.Sprintf("replay-%d", calls))
	if _, err := os.Stat(dir); err != nil {
		if err := os.MkdirAll(dir, 0o755); err != nil {
			b.Fatal(err)
		}
		writeReplayCases(b, db, program, dir, calls)
	}
	if _, err := db.Exec("CREATE VIEW cases AS SELECT * FROM read_parquet(" + duck.Quote(filepath.Join(dir, "*.parquet")) + ")"); err != nil {
		b.Fatal(err)
	}
	meta := queries.Describe(dict, set)
	meta.Strata, meta.Collapse = []string{"site", "species"}, []string{"site", "species"}
	d, err := queries.New(db, meta)
	if err != nil {
		b.Fatal(err)
	}
	return program, d, db
}

// writeReplayCases writes eighteen files of about as many calls.
func writeReplayCases(b *testing.B, db *sql.DB, program *rules.Program, dir string, calls int) {
	b.Helper()
	var columns []string
	for i := range program.Dict.Findings {
		f := &program.Dict.Findings[i]
		h := fmt.Sprintf("hash(i, '%s')", f.ID)
		normal, odd := "1", fmt.Sprintf("1 + %s // 1000 %% %d", h, max(len(f.Codes), 1))
		if f.Kind == findings.Number {
			normal, odd = fmt.Sprintf("%d + %s // 1000 %% %d", 10*f.Scale, h, 20*f.Scale), fmt.Sprintf("%s // 1000 %% %d", h, 90*f.Scale)
		}
		columns = append(columns, fmt.Sprintf("CASE WHEN %[1]s %% 1000 < 700 THEN -1 - (%[1]s // 1000 %% 4)::INTEGER WHEN %[1]s %% 1000 < 985 THEN %[2]s ELSE %[3]s END::%[4]s AS %[5]s",
			h, normal, odd, f.SQLType(), f.Column()))
	}
	const files = 18
	for k := range files {
		base := strings.NewReplacer("{FINDINGS}", strings.Join(columns, ",\n  "), "{FIRST}", fmt.Sprint(calls*k/files), "{LAST}", fmt.Sprint(calls*(k+1)/files), "{TOTAL}", fmt.Sprint(calls)).Replace(replayCases)
		ruled, err := rules.Select("("+base+")", rules.Part{Program: program})
		if err != nil {
			b.Fatal(err)
		}
		// Advisors follow the rules mostly; outcomes follow the advice.
		query := fmt.Sprintf(`SELECT * EXCLUDE (i, h), (year(started_at) * 100 + month(started_at))::INTEGER AS month, hour(started_at)::TINYINT AS local_hour, isodow(started_at)::TINYINT AS weekday,
  least(rule_level + CASE WHEN h // 700000 %% 10 = 0 THEN 1 ELSE 0 END, 4)::TINYINT AS level,
  CASE WHEN level >= 3 THEN CASE WHEN h // 7000000 %% 10 < 7 THEN 1 ELSE 0 END WHEN h // 7000000 %% 100 < 5 THEN 3 + h // 70000000 %% 2 WHEN h // 7000000 %% 100 < 8 THEN 2 ELSE 0 END::TINYINT AS route,
  CASE WHEN route = 0 THEN -1 WHEN h // 170000 %% 100 < level * level THEN 1 ELSE 0 END::TINYINT AS need_emergency,
  CASE WHEN route = 0 THEN -1 WHEN need_emergency = 1 OR h // 1700000 %% 100 < 3 * level * level THEN 1 ELSE 0 END::TINYINT AS need_same_day,
  'treated_sent_home' AS disposition, need_emergency = 1 AND h // 19000 %% 20 = 0 AS died, (60 + h // 23000 %% 3000)::INTEGER AS outcome_minutes
  FROM (%s)`, ruled)
		path := filepath.Join(dir, fmt.Sprintf("%02d.parquet", k))
		if _, err := db.Exec("COPY (" + query + ") TO " + duck.Quote(path) + " (FORMAT parquet, COMPRESSION zstd, ROW_GROUP_SIZE 122880)"); err != nil {
			b.Fatal(err)
		}
	}
}
