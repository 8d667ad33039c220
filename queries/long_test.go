package queries_test

import (
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

// A walk gives what the plain questions give; over checks in another order than
// asked, or whose calls lie apart, or with a word of no list, it is given up.
func TestWalk(t *testing.T) {
	s := queries.Scope{From: 202509, To: 202608, MatureBefore: day(9, 1)}
	for name, mixed := range map[string]string{
		"as stored": "FROM raw ORDER BY rowid", "within calls": "FROM raw ORDER BY call, hash(finding)", "calls apart": "FROM raw ORDER BY seq, call", "anyhow": "FROM raw ORDER BY hash(call, finding)",
		"another word": "SELECT * REPLACE (CASE WHEN handling = 'held' THEN 'lifted' ELSE handling END AS handling) FROM raw ORDER BY rowid",
	} {
		d := open(t, demoStore(t), 0)
		d.ReadViews()
		if _, err := d.SQL().Exec("CREATE TABLE raw AS FROM checks; CREATE TABLE mixed AS " + mixed + "; CREATE OR REPLACE VIEW checks AS FROM mixed"); err != nil {
			t.Fatal(err)
		}
		seconds, handling := timesAndHandling(t, d, s)
		_, err := d.ChecksAlike(ctx, s)
		if (err == nil) != (name == "as stored") {
			t.Errorf("%s: the walk says %v", name, err)
		}
		d.SetLong(true)
		walked, held := timesAndHandling(t, d, s)
		if diff := cmp.Diff(seconds, walked); diff != "" || len(seconds) == 0 {
			t.Errorf("%s, check_seconds (-plain +walked):\n%s", name, diff)
		}
		if diff := cmp.Diff(handling, held); diff != "" || len(handling) == 0 {
			t.Errorf("%s, check_handling (-plain +walked):\n%s", name, diff)
		}
	}
}

func timesAndHandling(t *testing.T, d *queries.DB, s queries.Scope) ([]queries.CheckSecondsRow, []queries.CheckHandlingRow) {
	t.Helper()
	seconds, err := d.CheckSeconds(ctx, s)
	if err != nil {
		t.Fatal(err)
	}
	handling, err := d.CheckHandling(ctx, s)
	if err != nil {
		t.Fatal(err)
	}
	return seconds, handling
}

// The checks of a store that loads have written can be walked, month for month.
func TestWalkOfFiles(t *testing.T) {
	d := open(t, demoStore(t), 0)
	for month := 202509; month <= 202608; month = queries.AddMonths(month, 1) {
		if rows, err := d.ChecksAlike(ctx, queries.Scope{From: month, To: month}); err != nil || len(rows) == 0 {
			t.Errorf("%d: %d rows, %v", month, len(rows), err)
		}
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
