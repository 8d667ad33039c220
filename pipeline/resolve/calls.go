package resolve

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"strings"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// localMonth makes the month of a record from local_start, the time of its start
// on the caller's clock.
const localMonth = `(year(local_start) * 100 + month(local_start))::INTEGER`

// calls resolves the calls and builds episodes. It leaves behind
//
//	placed     every call that is new, or whose animal has new calls, with its place
//	callmonth  the month of every call that is new, changed or moved: call, month, started_at
//	moved      stored calls whose episode changes: call, episode, month, kind, was_month
func (r *Resolver) calls(ctx context.Context) error {
	if err := r.keyed(ctx, callsTable); err != nil {
		return err
	}
	r.tell("find episodes")
	script := []string{
		`CREATE TABLE gone AS SELECT call, was_month FROM cmp_calls WHERE class = 'superseding'`,
		`CREATE TABLE stirred AS
			SELECT DISTINCT animal FROM inc_calls WHERE animal IS NOT NULL
			UNION SELECT c.animal FROM cur_calls c SEMI JOIN gone USING (call) WHERE c.animal IS NOT NULL`,
		// Stored calls of the animals that stir, and where they stood.
		`CREATE VIEW settled AS SELECT c.* FROM cur_calls c SEMI JOIN stirred USING (animal) ANTI JOIN gone USING (call)`,
		`CREATE TABLE was AS SELECT call, episode, episode_month AS month, contact_kind AS kind FROM settled`,
		`CREATE TYPE kind_word AS ENUM (` + quoteWords(codes.ContactKinds.Words()) + `)`,
		`CREATE TABLE clock AS ` + clockSQL("SELECT zone, started_at FROM inc_calls UNION ALL SELECT zone, started_at FROM settled"),
		// What every record that may join an episode is known by, as narrow as it
		// can be: it is all that is held of all calls at once.
		`CREATE TABLE pres AS SELECT * EXCLUDE (local_start), ` + localMonth + ` AS own_month FROM (
			SELECT call, animal, started_at, contact_type = 'clinical' AS clinical, hint::kind_word AS hint, fresh, src_file, src_row, ` + localStart + ` AS local_start FROM (
				SELECT call, animal, started_at, zone, contact_type, contact_kind AS hint, true AS fresh, src_file, src_row FROM inc_calls
				UNION ALL
				SELECT call, animal, started_at, zone, contact_type, contact_kind_given, false, NULL, NULL FROM settled) JOIN clock ON ` + onClock + `)`,
	}
	for _, q := range script {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	if err := r.episodes(ctx); err != nil {
		return fmt.Errorf("build episodes: %w", err)
	}
	script = []string{
		`CREATE TABLE placed AS SELECT p.call, p.animal, p.started_at, p.fresh, p.src_file, p.src_row,
			CASE WHEN p.clinical THEN coalesce(a.episode, p.call) END AS episode,
			coalesce(a.month, p.own_month) AS month,
			CASE WHEN a.kind IS NOT NULL THEN a.kind::kind_word WHEN p.clinical THEN 'first'::kind_word ELSE p.hint END AS kind
			FROM pres p LEFT JOIN asg a USING (call)`,
		`DROP TABLE pres`, `DROP TABLE asg`, `DROP TABLE near`, `DROP TABLE clock`,
		`CREATE TABLE moved AS SELECT p.call, p.episode, p.month, p.kind, p.started_at, w.month AS was_month FROM placed p JOIN was w USING (call)
			WHERE NOT p.fresh AND (p.episode IS DISTINCT FROM w.episode OR p.month <> w.month OR p.kind::VARCHAR IS DISTINCT FROM w.kind)`,
		`CREATE VIEW callmonth AS SELECT call, month, started_at FROM placed WHERE fresh
			UNION ALL SELECT call, month, started_at FROM moved`,
		`CREATE TABLE touch_calls AS SELECT call, was_month, now_at FROM cmp_calls WHERE class = 'unchanged' AND now_at > was_at`,
	}
	for _, q := range script {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	r.tell("write calls")
	return r.writeCalls(ctx)
}

// writeCalls writes the new present of every month that changes, and the
// superseded versions of its rows.
func (r *Resolver) writeCalls(ctx context.Context) error {
	months, err := r.ints(ctx, `SELECT month FROM callmonth UNION SELECT was_month FROM gone UNION
		SELECT was_month FROM moved UNION SELECT was_month FROM touch_calls ORDER BY 1`)
	if err != nil {
		return err
	}
	cols := callsTable.stored()
	moves, err := r.ints(ctx, `SELECT DISTINCT month FROM moved`)
	if err != nil {
		return err
	}
	joins := func(m int) bool {
		return len(r.tx.Paths(store.Current, "calls", m)) > 0 || slices.Contains(moves, m)
	}
	rest, err := r.copyCallMonths(ctx, months, joins)
	if err != nil {
		return err
	}
	for _, m := range months {
		r.touched[m] = true
	}
	for _, m := range rest {
		staged, err := r.stagedOf(ctx, callsTable, fmt.Sprintf("SELECT DISTINCT src_file FROM placed WHERE fresh AND month = %d", m))
		if err != nil {
			return err
		}
		query := fmt.Sprintf(`SELECT s.* EXCLUDE (contact_kind), s.contact_kind AS contact_kind_given, p.kind AS contact_kind, p.episode, p.month AS episode_month,
				%[2]d::INTEGER AS load_no
			FROM (%[3]s) s JOIN (SELECT src_file, src_row, kind, episode, month FROM placed WHERE fresh AND month = %[1]d) p
				ON s.src_file = p.src_file AND s.src_row = p.src_row`, m, r.tx.No, staged)
		// Joined with stored rows, known words would become strings again.
		if joins(m) {
			query += fmt.Sprintf(`
			UNION ALL BY NAME
			SELECT c.* REPLACE (greatest(c.exported_at, t.now_at) AS exported_at)
			FROM cur_calls c LEFT JOIN touch_calls t USING (call) ANTI JOIN gone USING (call) ANTI JOIN moved USING (call)
			WHERE c.episode_month = %[1]d
			UNION ALL BY NAME
			SELECT c.* REPLACE (v.episode AS episode, v.month AS episode_month, v.kind::VARCHAR AS contact_kind, %[2]d::INTEGER AS load_no)
			FROM cur_calls c JOIN moved v USING (call) WHERE v.month = %[1]d`, m, r.tx.No)
		}
		if err := r.replace(ctx, "calls", m, cols, "("+query+")", "started_at, call"); err != nil {
			return err
		}
	}
	return r.history(ctx, "calls", months, `SELECT c.* FROM cur_calls c
		SEMI JOIN (SELECT call FROM gone UNION SELECT call FROM moved) x USING (call)`, "episode_month", "started_at, call", cols)
}

// replace writes the new present of a month, the rows of a relation in the order of
// some columns, and takes the old out.
func (r *Resolver) replace(ctx context.Context, tab string, month int, cols []column, from, order string) error {
	path := r.copyPath(tab, month)
	n, err := copyRows(ctx, r.db, tab, path, names(cols, ""), from, order)
	if err != nil {
		return err
	}
	r.copied(tab, month, path, n)
	return nil
}

// settle makes path the file of a table's month, "" for none.
func (r *Resolver) settle(tab string, month int, path string) {
	r.drop(store.Current, tab, month)
	if r.fresh[tab] == nil {
		r.fresh[tab] = map[int]string{}
	}
	r.fresh[tab][month] = path
}

// history writes superseded rows, by the month in which they stood.
func (r *Resolver) history(ctx context.Context, tab string, months []int, from, monthColumn, order string, cols []column) error {
	if r.tx.No == 1 {
		return nil
	}
	for _, m := range months {
		query := fmt.Sprintf("SELECT %s, %d::INTEGER AS superseded_by FROM (%s) WHERE %s = %d ORDER BY %s",
			names(cols, ""), r.tx.No, from, monthColumn, m, order)
		if _, err := r.write(ctx, store.History, tab, m, query); err != nil {
			return err
		}
	}
	return nil
}

func monthList(months map[int]bool) []int {
	out := make([]int, 0, len(months))
	for m := range months {
		out = append(out, m)
	}
	sort.Ints(out)
	return out
}

func quoteWords(words []string) string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = duck.Quote(w)
	}
	return strings.Join(out, ", ")
}

func joinInts(list []int) string {
	out := make([]string, len(list))
	for i, n := range list {
		out[i] = fmt.Sprint(n)
	}
	return strings.Join(out, ", ")
}
