package resolve

import (
	"context"
	"fmt"
	"sort"
	"strings"

	"hindcheck/pipeline/store"
)

// localMonth makes the month of a record from local_start, the time of its start
// on the caller's clock; a record without a zone is taken as UTC. The time is
// made once a row: the calendar of a zone is the dearest function of the query.
const (
	localStart = `timezone(coalesce(zone, 'UTC'), started_at) AS local_start`
	localMonth = `(year(local_start) * 100 + month(local_start))::INTEGER`
)

// calls resolves the calls and builds episodes. It leaves behind
//
//	callmonth  the month of every call that is new, changed or moved: call, month
//	moved      stored calls whose episode changes: call, episode, month, kind, was_month
func (r *Resolver) calls(ctx context.Context) error {
	if err := r.keyed(ctx, callsTable); err != nil {
		return err
	}
	script := []string{
		`CREATE TABLE gone AS SELECT call, was_month FROM cmp_calls WHERE class = 'superseding'`,
		`CREATE TABLE stirred AS
			SELECT DISTINCT animal FROM inc_calls WHERE animal IS NOT NULL
			UNION SELECT c.animal FROM cur_calls c SEMI JOIN gone USING (call) WHERE c.animal IS NOT NULL`,
		// The narrow columns of every record that may join an episode, read once.
		`CREATE TABLE pres AS SELECT * EXCLUDE (local_start), ` + localMonth + ` AS own_month FROM (
			SELECT call, contact, animal, started_at, contact_type, complaint, contact_kind AS hint, ` + localStart + `, NULL::UUID AS was_episode,
				NULL::INTEGER AS was_month, NULL::VARCHAR AS was_kind, true AS fresh, src_file, src_row FROM inc_calls
			UNION ALL
			SELECT c.call, c.contact, c.animal, c.started_at, c.contact_type, c.complaint, c.contact_kind_given, ` + localStart + `,
				c.episode, c.episode_month, c.contact_kind, false, NULL, NULL
			FROM cur_calls c SEMI JOIN stirred USING (animal) ANTI JOIN gone USING (call))`,
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
		`CREATE TABLE placed AS SELECT p.call, p.animal, p.started_at, p.fresh, p.src_file, p.src_row, p.was_episode, p.was_month, p.was_kind,
			CASE WHEN p.contact_type = 'clinical' THEN coalesce(a.episode, p.call) END AS episode,
			coalesce(a.month, p.own_month) AS month,
			CASE WHEN a.kind IS NOT NULL THEN a.kind WHEN p.contact_type = 'clinical' THEN 'first' ELSE p.hint END AS kind
			FROM pres p LEFT JOIN asg a USING (call)`,
		`CREATE TABLE moved AS SELECT call, episode, month, kind, was_month FROM placed
			WHERE NOT fresh AND (episode IS DISTINCT FROM was_episode OR month <> was_month OR kind IS DISTINCT FROM was_kind)`,
		`CREATE TABLE callmonth AS SELECT call, month FROM placed WHERE fresh
			UNION ALL SELECT call, month FROM moved`,
		`CREATE TABLE touch_calls AS SELECT call, was_month, now_at FROM cmp_calls WHERE class = 'unchanged' AND now_at > was_at`,
	}
	for _, q := range script {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
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
	for _, m := range months {
		r.touched[m] = true
		staged, err := r.stagedOf(ctx, callsTable, fmt.Sprintf("SELECT DISTINCT src_file FROM placed WHERE fresh AND month = %d", m))
		if err != nil {
			return err
		}
		query := fmt.Sprintf(`SELECT %[1]s FROM (
			SELECT s.* EXCLUDE (contact_kind), s.contact_kind AS contact_kind_given, p.kind AS contact_kind, p.episode, p.month AS episode_month,
				%[3]d::INTEGER AS load_no
			FROM (%[4]s) s JOIN (SELECT src_file, src_row, kind, episode, month FROM placed WHERE fresh AND month = %[2]d) p
				ON s.src_file = p.src_file AND s.src_row = p.src_row
			UNION ALL BY NAME
			SELECT c.* REPLACE (greatest(c.exported_at, t.now_at) AS exported_at)
			FROM cur_calls c LEFT JOIN touch_calls t USING (call) ANTI JOIN gone USING (call) ANTI JOIN moved USING (call)
			WHERE c.episode_month = %[2]d
			UNION ALL BY NAME
			SELECT c.* REPLACE (v.episode AS episode, v.month AS episode_month, v.kind AS contact_kind, %[3]d::INTEGER AS load_no)
			FROM cur_calls c JOIN moved v USING (call) WHERE v.month = %[2]d
		) ORDER BY started_at, call`, names(cols, ""), m, r.tx.No, staged)
		if err := r.replace(ctx, "calls", m, query); err != nil {
			return err
		}
	}
	return r.history(ctx, "calls", months, `SELECT c.* FROM cur_calls c
		SEMI JOIN (SELECT call FROM gone UNION SELECT call FROM moved) x USING (call)`, "episode_month", "started_at, call", cols)
}

// replace writes the new present of a month and takes the old out.
func (r *Resolver) replace(ctx context.Context, tab string, month int, query string) error {
	path, err := r.write(ctx, store.Current, tab, month, query)
	if err != nil {
		return err
	}
	r.drop(store.Current, tab, month)
	if r.fresh[tab] == nil {
		r.fresh[tab] = map[int]string{}
	}
	r.fresh[tab][month] = path
	return nil
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

func joinInts(list []int) string {
	out := make([]string, len(list))
	for i, n := range list {
		out[i] = fmt.Sprint(n)
	}
	return strings.Join(out, ", ")
}
