package resolve

import (
	"context"
	"fmt"
	"sort"
	"strings"
	"time"

	"hindcheck/pipeline/store"
)

// localMonth is the month of a record's start on the caller's calendar. A
// record without a zone is taken as UTC.
const localMonth = `(year(timezone(coalesce(zone, 'UTC'), started_at)) * 100 + month(timezone(coalesce(zone, 'UTC'), started_at)))::INTEGER`

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
		`CREATE VIEW pres AS
			SELECT call, contact, animal, started_at, contact_type, complaint, contact_kind AS hint, ` + localMonth + ` AS own_month, NULL::UUID AS was_episode,
				NULL::INTEGER AS was_month, NULL::VARCHAR AS was_kind, true AS fresh FROM inc_calls
			UNION ALL
			SELECT c.call, c.contact, c.animal, c.started_at, c.contact_type, c.complaint, c.contact_kind_given, ` + localMonth + `,
				c.episode, c.episode_month, c.contact_kind, false
			FROM cur_calls c SEMI JOIN stirred USING (animal) ANTI JOIN gone USING (call)`,
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
		`CREATE VIEW placed AS SELECT p.*,
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
		lo, hi := monthBounds(m)
		query := fmt.Sprintf(`SELECT %[1]s FROM (
			SELECT s.* EXCLUDE (contact_kind), s.contact_kind AS contact_kind_given,
				CASE WHEN a.kind IS NOT NULL THEN a.kind WHEN s.contact_type = 'clinical' THEN 'first' ELSE s.contact_kind END AS contact_kind,
				CASE WHEN s.contact_type = 'clinical' THEN coalesce(a.episode, s.call) END AS episode,
				%[2]d::INTEGER AS episode_month, %[3]d::INTEGER AS load_no
			FROM inc_calls s SEMI JOIN (SELECT call FROM callmonth WHERE month = %[2]d) k USING (call) LEFT JOIN asg a USING (call)
			WHERE s.started_at BETWEEN %[4]s AND %[5]s
			UNION ALL BY NAME
			SELECT c.* REPLACE (greatest(c.exported_at, t.now_at) AS exported_at)
			FROM cur_calls c LEFT JOIN touch_calls t USING (call) ANTI JOIN gone USING (call) ANTI JOIN moved USING (call)
			WHERE c.episode_month = %[2]d
			UNION ALL BY NAME
			SELECT c.* REPLACE (v.episode AS episode, v.month AS episode_month, v.kind AS contact_kind, %[3]d::INTEGER AS load_no)
			FROM cur_calls c JOIN moved v USING (call) WHERE v.month = %[2]d
		) ORDER BY started_at, call`, names(cols, ""), m, r.tx.No, lo, hi)
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

// monthBounds gives literal bounds that surely hold every call of a month's
// episodes: the month, a day for the time zone, and the longest window.
func monthBounds(m int) (lo, hi string) {
	first := time.Date(m/100, time.Month(m%100), 1, 0, 0, 0, 0, time.UTC)
	const layout = "2006-01-02"
	return "TIMESTAMPTZ '" + first.AddDate(0, 0, -2).Format(layout) + "'",
		"TIMESTAMPTZ '" + first.AddDate(0, 3, 0).Format(layout) + "'"
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
