package resolve

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/intake"
	"hindcheck/pipeline/lanes"
)

// Runs come in the order that SQL gives them, in however many stretches of time: of
// calls of which several begin in one minute, that come as two sorted lists one behind
// the other, of which some have several runs, and among runs of other months.
func TestRunOrder(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	db, err := duck.Open(ctx, duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	write := func(name, query string) string {
		path := filepath.Join(dir, name+".parquet")
		if _, err := db.Exec("COPY (" + query + ") TO " + duck.Quote(path) + " (FORMAT parquet, PARQUET_VERSION v2)"); err != nil {
			t.Fatal(err)
		}
		return path
	}
	calls := write("calls", `SELECT md5(i::VARCHAR)::UUID AS call, TIMESTAMPTZ '2026-07-01 00:00:00Z' + INTERVAL 1 MINUTE * (i // 30) AS started_at,
		['dog', 'cat', 'newt', NULL][i % 4 + 1] AS species FROM range(20000) r(i) ORDER BY i % 5 = 0, started_at, call`)
	const runs = `SELECT md5(i::VARCHAR)::UUID AS call, k %% 2 = 1 AS vet, %d::INTEGER AS src_file, (i %% 2)::INTEGER AS part, (10 * i + k)::BIGINT AS first, (1 + i %% 7)::INTEGER AS n
		FROM range(%d, %d) r(i), range(3) s(k) WHERE k = 0 OR hash(i, k) %% 5 = 0 ORDER BY hash(i)`
	files := []string{write("runs-0", fmt.Sprintf(runs, 4, -5000, 11_000)), write("runs-1", fmt.Sprintf(runs, 5, 10_000, 30_000))}
	rows, err := db.Query(`SELECT src_file, part, first, n, vet, coalesce(list_position(['dog', 'cat'], species), 0) FROM ` + parquet(files) + ` r JOIN ` + parquet([]string{calls}) + ` c USING (call)
		ORDER BY started_at, call, vet, src_file, part, first`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var want []intake.Run
	for rows.Next() {
		var r intake.Run
		if err := rows.Scan(&r.File, &r.Part, &r.First, &r.Rows, &r.Vet, &r.Species); err != nil {
			t.Fatal(err)
		}
		want = append(want, r)
	}
	if err := rows.Err(); err != nil || len(want) < 20_000 {
		t.Fatalf("%d runs, %v", len(want), err)
	}
	for _, held := range []int{1, 1000, 20_000, 1 << 19} {
		o, err := newRunOrder(ctx, calls, files, lanes.Closed("", "dog", "cat"), held)
		if err != nil {
			t.Fatal(err)
		}
		var got []intake.Run
		stretches := len(o.ends) + 1
		for {
			some, err := o.next(ctx)
			if err != nil {
				t.Fatal(err)
			}
			if len(some) == 0 {
				break
			}
			got = append(got, some...)
		}
		if (stretches > 1) != (held < 20_000) {
			t.Errorf("%d calls held: %d stretches", held, stretches)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%d calls held (-want +got):\n%s", held, d[:min(len(d), 600)])
		}
	}
}

// What cannot be read is an error that names the file.
func TestRunOrderOfNoFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "calls.parquet")
	if _, err := newRunOrder(context.Background(), path, nil, lanes.Closed(), callsHeld); err == nil {
		t.Error("no error for a missing file")
	}
}
