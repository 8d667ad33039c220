package queries_test

import (
	"errors"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/queries"
)

// Asked a month at a time or all at once, the answer is the same.
func TestByMonth(t *testing.T) {
	d := open(t, demoStore(t), 0)
	s := queries.Scope{From: 202509, To: 202608, MatureBefore: day(9, 1)}
	var seconds [2][]queries.CheckSecondsRow
	var handling [2][]queries.CheckHandlingRow
	var pairs [2][]queries.ReadingPairsRow
	for i, long := range []bool{false, true} {
		d.SetLong(long)
		var err error
		if seconds[i], err = d.CheckSeconds(ctx, s); err != nil {
			t.Fatal(err)
		}
		if handling[i], err = d.CheckHandling(ctx, s); err != nil {
			t.Fatal(err)
		}
		if pairs[i], err = d.ReadingPairs(ctx, s, 4); err != nil {
			t.Fatal(err)
		}
	}
	if diff := cmp.Diff(pairs[0], pairs[1]); diff != "" || len(pairs[0]) == 0 {
		t.Errorf("reading_pairs (-at once +by month):\n%s", diff)
	}
	if diff := cmp.Diff(seconds[0], seconds[1]); diff != "" || len(seconds[0]) == 0 {
		t.Errorf("check_seconds (-at once +by month):\n%s", diff)
	}
	if diff := cmp.Diff(handling[0], handling[1]); diff != "" || len(handling[0]) == 0 {
		t.Errorf("check_handling (-at once +by month):\n%s", diff)
	}
}

// A walk gives what the plain questions give, in whatever order a call's checks
// stand; over files whose calls lie apart, or with a word of no list, it is given up.
func TestWalk(t *testing.T) {
	s := queries.Scope{From: 202604, To: 202608, MatureBefore: day(9, 1)}
	store := demoStore(t)
	for _, c := range []struct {
		name, mixed  string
		walks, apart bool
	}{
		{"as stored", "FROM raw", true, false},
		{"within calls", "FROM raw ORDER BY call, hash(finding)", true, false},
		{"calls apart", "FROM raw ORDER BY seq, call", false, false},
		{"vets apart", "FROM raw ORDER BY observer IS NOT DISTINCT FROM 'vet', call, seq", true, true},
		{"times missing", "SELECT * REPLACE (CASE WHEN hash(call, finding) % 7 > 0 THEN asked_at END AS asked_at) FROM raw", true, false},
		{"places missing", "SELECT * REPLACE (CASE WHEN hash(call, finding, seq) % 7 > 0 THEN seq END AS seq) FROM raw ORDER BY call", true, false},
		{"calls missing", "SELECT * REPLACE (uuid() AS call) FROM raw", true, false},
		{"blanks", "SELECT * REPLACE (CASE WHEN hash(call, finding) % 3 > 0 THEN value_code END AS value_code, NULL::VARCHAR AS setting, NULL::VARCHAR AS reason) FROM raw", true, false},
		{"another word", "SELECT * REPLACE (CASE WHEN handling = 'held' THEN 'lifted' ELSE handling END AS handling) FROM raw", false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := open(t, store, 0)
			reorder(t, d, s, c.mixed)
			want := ofChecks(t, d, s)
			d.SetWalks()
			got := ofChecks(t, d, s)
			if walks, apart := d.Walks(ctx, s); walks != c.walks || apart != c.apart {
				t.Errorf("walks %v, pairs apart %v; want %v, %v", walks, apart, c.walks, c.apart)
			}
			if diff := cmp.Diff(want, got); diff != "" || len(want.Cases) == 0 && c.name != "calls missing" {
				t.Errorf("-plain +walked:\n%s", diff)
			}
		})
	}
}

// reorder has the checks of every month stand in another order, in two files.
func reorder(t *testing.T, d *queries.DB, s queries.Scope, mixed string) {
	t.Helper()
	dir := t.TempDir()
	for month := s.From; month <= s.To; month = queries.AddMonths(month, 1) {
		var paths []string
		for half := range 2 {
			path := filepath.Join(dir, fmt.Sprintf("%d-%d.parquet", month, half))
			if _, err := d.SQL().Exec(fmt.Sprintf(`SET preserve_insertion_order = true; COPY (WITH raw AS (FROM checks WHERE episode_month = %d AND hash(call) %% 2 = %d) %s) TO '%s' (FORMAT parquet)`,
				month, half, mixed, path)); err != nil {
				t.Fatal(err)
			}
			paths = append(paths, path)
		}
		d.SetFiles("checks", month, paths...)
	}
	if _, err := d.SQL().Exec(fmt.Sprintf("CREATE OR REPLACE VIEW checks AS FROM read_parquet('%s/*.parquet')", dir)); err != nil {
		t.Fatal(err)
	}
}

// checkAnswers are the answers that a walk gives.
type checkAnswers struct {
	Seconds  []queries.CheckSecondsRow
	Handling []queries.CheckHandlingRow
	Pairs    []queries.ReadingPairsRow
	Fill     []queries.ColumnFillRow
	Cases    []queries.CaseChecksRow
}

func ofChecks(t *testing.T, d *queries.DB, s queries.Scope) (a checkAnswers) {
	t.Helper()
	var errs [6]error
	missed, err := d.MissedCases(ctx, s, 3)
	if err != nil {
		t.Fatal(err)
	}
	var episodes []string
	for _, x := range missed {
		episodes = append(episodes, x.Episode)
	}
	if errs[4] = d.KeepChecks(ctx, s, episodes); len(episodes) > 0 {
		a.Cases, errs[5] = d.CaseChecks(ctx, episodes, s)
	}
	a.Seconds, errs[0] = d.CheckSeconds(ctx, s)
	a.Handling, errs[1] = d.CheckHandling(ctx, s)
	a.Pairs, errs[2] = d.ReadingPairs(ctx, s, queries.ExamHours)
	a.Fill, errs[3] = d.ColumnFill(ctx, s)
	if err := errors.Join(errs[:]...); err != nil {
		t.Fatal(err)
	}
	return a
}

// The checks of a store that loads have written can be walked.
func TestWalkOfFiles(t *testing.T) {
	d := open(t, demoStore(t), 0)
	s := queries.Scope{From: 202509, To: 202608, MatureBefore: day(9, 1)}
	want := ofChecks(t, d, s)
	if len(want.Pairs) == 0 || len(want.Seconds) == 0 || len(want.Handling) == 0 || len(want.Fill) == 0 {
		t.Fatal("nothing to compare")
	}
	d.SetWalks()
	got := ofChecks(t, d, s)
	if walks, apart := d.Walks(ctx, s); !walks || apart {
		t.Errorf("walks %v, pairs apart %v", walks, apart)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("-plain +walked:\n%s", diff)
	}
}

// A walk over the hand-written checks gives what the plain questions give there.
func TestWalkByHand(t *testing.T) {
	d := timed(t)
	want := ofChecks(t, d, scope)
	dir := t.TempDir()
	for _, table := range []string{"calls", "checks", "outcomes"} {
		path := filepath.Join(dir, table+".parquet")
		if _, err := d.SQL().Exec("COPY (FROM " + table + " ORDER BY call) TO '" + path + "' (FORMAT parquet)"); err != nil {
			t.Fatal(err)
		}
		d.SetFiles(table, scope.From, path)
	}
	d.SetWalks()
	if walks, _ := d.Walks(ctx, scope); !walks {
		t.Error("the walk was given up")
	}
	if diff := cmp.Diff(want, ofChecks(t, d, scope)); diff != "" || len(want.Seconds) == 0 {
		t.Errorf("-plain +walked:\n%s", diff)
	}
}

// Sorting packed numbers gives what a window over all checks gives, ties of place
// and missing times included.
func TestCheckSecondsByWindow(t *testing.T) {
	d := open(t, demoStore(t), 0)
	d.ReadViews()
	if _, err := d.SQL().Exec(`CREATE TABLE blurred AS SELECT * REPLACE (seq // 2 AS seq, CASE WHEN hash(call, finding) % 7 > 0 THEN asked_at END AS asked_at) FROM checks;
		CREATE OR REPLACE VIEW checks AS FROM blurred`); err != nil {
		t.Fatal(err)
	}
	s := queries.Scope{From: 202509, To: 202608, MatureBefore: day(9, 1)}
	got, err := d.CheckSeconds(ctx, s)
	if err != nil || len(got) == 0 {
		t.Fatal(len(got), err)
	}
	rows, err := d.SQL().Query(`WITH lasting AS (
		SELECT k.finding, epoch(coalesce(lead(k.asked_at) OVER (PARTITION BY k.call ORDER BY k.seq, k.asked_at, k.finding), a.ended_at)) - epoch(k.asked_at) AS seconds
		FROM checks k JOIN calls a ON a.call = k.call AND a.episode = a.call
		WHERE k.episode_month BETWEEN 202509 AND 202608 AND a.episode_month BETWEEN 202509 AND 202608 AND k.observer IS DISTINCT FROM 'vet' AND k.state <> 'not_asked')
		SELECT finding, count(*), count(*) FILTER (seconds BETWEEN 0 AND 3600), coalesce(sum(seconds) FILTER (seconds BETWEEN 0 AND 3600), 0)::DOUBLE FROM lasting GROUP BY finding ORDER BY finding`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var want []queries.CheckSecondsRow
	for rows.Next() {
		var r queries.CheckSecondsRow
		if err := rows.Scan(&r.Finding, &r.Asked, &r.Timed, &r.Seconds); err != nil {
			t.Fatal(err)
		}
		want = append(want, r)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("check_seconds (-window +packed):\n%s", diff)
	}
}
