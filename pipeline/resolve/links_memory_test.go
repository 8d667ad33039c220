package resolve

import (
	"fmt"
	"path/filepath"
	"testing"

	"hindcheck/pipeline/duck"
)

// The outcomes of a load are linked in little memory, however many calls it and the
// store have: here calls of which the names alone take half of what there is.
func TestLinksAreFoundInLittleMemory(t *testing.T) {
	const calls, megabytes = 300_000, 46
	dir := t.TempDir()
	db, err := duck.Open(t.Context(), duck.Options{Threads: 2, MemoryMB: megabytes, TempDir: filepath.Join(dir, "spill")})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	r := &Resolver{db: db, set: Settings{LinkHours: 72}}
	// Calls of the load from 0 on, of the store from calls on; an outcome of every seventh call
	// of both, some of which name the animal only.
	const row = "md5(i::VARCHAR)::UUID AS call, md5((i // 2)::VARCHAR)::UUID AS animal, '2026-03-01'::TIMESTAMPTZ + to_seconds(i) AS started_at, call AS episode"
	script := []string{
		fmt.Sprintf("CREATE TABLE placed AS SELECT %s, 202603 AS month FROM range(%d) r(i)", row, calls),
		fmt.Sprintf("COPY (SELECT %s, 202602 AS episode_month FROM range(%d, %d) r(i)) TO %s (FORMAT parquet)", row, calls, 2*calls, duck.Quote(filepath.Join(dir, "c.parquet"))),
		"CREATE VIEW cur_calls AS FROM " + parquet([]string{filepath.Join(dir, "c.parquet")}),
		fmt.Sprintf(`CREATE TABLE inc_outcomes AS SELECT md5((-i)::VARCHAR)::UUID AS outcome, CASE WHEN i %% 5 > 0 THEN call END AS call, animal, started_at + INTERVAL 1 HOUR AS seen_at, 0::INTEGER AS src_file, i AS src_row
			FROM (SELECT i, %s FROM range(0, %d, 7) r(i))`, row, 2*calls),
		"CREATE TABLE cur_outcomes (outcome UUID, call UUID, animal UUID, seen_at TIMESTAMPTZ, episode UUID, episode_month INTEGER, linked_by VARCHAR)",
		"CREATE TABLE cmp_outcomes (outcome UUID, class VARCHAR)",
		"CREATE TABLE gone (call UUID, was_month INTEGER)",
		"CREATE VIEW stirred AS SELECT DISTINCT animal FROM placed",
		"CREATE VIEW callmonth AS SELECT call, month, started_at FROM placed",
	}
	for _, q := range script {
		if err := r.exec(t.Context(), q); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.findLinks(t.Context()); err != nil {
		t.Fatal(err)
	}
	// Every fifth outcome names its animal only, which has two calls within a second.
	for month, want := range map[int]int64{202602: 34_286, 202603: 34_286} {
		if n, err := r.count(t.Context(), "SELECT count(*) FROM link WHERE how = 'call' AND month = ?", month); err != nil || n != want {
			t.Errorf("month %d: %d outcomes linked by call, %v; want %d", month, n, err, want)
		}
	}
	if n, err := r.count(t.Context(), "SELECT count(*) FROM link WHERE how = 'ambiguous'"); err != nil || n != 17_143 {
		t.Errorf("%d outcomes ambiguous, %v; want 17143", n, err)
	}
}
