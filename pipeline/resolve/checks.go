package resolve

import (
	"context"
	"fmt"
	"slices"
	"sort"

	"hindcheck/pipeline/store"
)

// checks resolves the home checks. The unit is a call and who looked: a later
// export of a call replaces all its telephone checks, since a check that was
// struck out simply stops being exported; the vet's own readings come with the
// outcomes and replace only each other.
func (r *Resolver) checks(ctx context.Context) error {
	script := []string{
		`CREATE VIEW home AS SELECT call, month FROM callmonth
			UNION ALL SELECT c.call, c.episode_month FROM cur_calls c ANTI JOIN callmonth USING (call)`,
		`CREATE TABLE shifted AS SELECT call, was_month, month FROM moved WHERE was_month <> month
			UNION SELECT g.call, g.was_month, k.month FROM gone g JOIN callmonth k USING (call) WHERE g.was_month <> k.month`,
		`CREATE TABLE spread AS SELECT s.src_file, h.month, count(*) AS n
			FROM (SELECT src_file, call FROM st_checks) s LEFT JOIN home h USING (call) GROUP BY ALL`,
	}
	for _, q := range script {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	if err := r.orphanChecks(ctx); err != nil {
		return err
	}
	months, err := r.ints(ctx, `SELECT DISTINCT month FROM spread WHERE month IS NOT NULL
		UNION SELECT was_month FROM shifted UNION SELECT month FROM shifted ORDER BY 1`)
	if err != nil {
		return err
	}
	for _, m := range months {
		if err := r.checksOfMonth(ctx, m); err != nil {
			return fmt.Errorf("month %d: %w", m, err)
		}
	}
	return nil
}

// byVet tells the vet's own readings from the telephone checks of a call.
const byVet = "observer IS NOT DISTINCT FROM 'vet' AS vet"

// orphanChecks sets aside checks of calls that the store does not hold.
func (r *Resolver) orphanChecks(ctx context.Context) error {
	n, err := r.count(ctx, `SELECT coalesce(sum(n), 0)::BIGINT FROM spread WHERE month IS NULL`)
	if err != nil || n == 0 {
		return err
	}
	return r.setAside(ctx, `SELECT src_file, src_row, 'call' AS "column", 'orphan_check' AS reason, 'pseudonym' AS kind,
		'a call that this load or an earlier one brought' AS expected,
		'load the calls export of that month, then this file with --again' AS remedy
		FROM st_checks s ANTI JOIN home USING (call)`)
}

// checksOfMonth writes the new present of one month's checks.
func (r *Resolver) checksOfMonth(ctx context.Context, m int) error {
	if err := r.stageMonth(ctx, m); err != nil {
		return err
	}
	before, err := r.ints(ctx, `SELECT DISTINCT was_month FROM shifted WHERE month = ?`, m)
	if err != nil {
		return err
	}
	before = append(before, m)
	cols := checksTable.stored()
	script := []string{
		`CREATE OR REPLACE VIEW was_checks AS SELECT *, ` + byVet + ` FROM (` + relation(r.tx.Paths(store.Current, "checks", before...), cols) + `)`,
		// Rows of the winning export of a call, the last of equal keys.
		`CREATE OR REPLACE TABLE best AS SELECT call, vet, max({e: exported_at, f: src_file}) AS top FROM chk GROUP BY call, vet`,
		`CREATE OR REPLACE TABLE lose_chk AS
			SELECT c.src_file, c.src_row FROM chk c JOIN best b USING (call, vet)
			WHERE {e: c.exported_at, f: c.src_file} <> b.top
			UNION ALL
			SELECT src_file, unnest(list_filter(all_rows, lambda x: x <> last_row)) FROM (
				SELECT c.src_file, max(c.src_row) AS last_row, list(c.src_row) AS all_rows FROM chk c JOIN best b USING (call, vet)
				WHERE {e: c.exported_at, f: c.src_file} = b.top GROUP BY c.src_file, c.call, c.vet, c.finding, c.seq HAVING count(*) > 1)`,
		`CREATE OR REPLACE VIEW win_chk AS SELECT c.* FROM chk c ANTI JOIN lose_chk l ON c.src_file = l.src_file AND c.src_row = l.src_row`,
		fmt.Sprintf(`CREATE OR REPLACE TABLE cmp_chk AS
			SELECT n.call, n.vet, n.at AS now_at, CASE WHEN n.sig = o.sig AND n.n = o.n THEN '%s' WHEN n.at < o.at THEN '%s' ELSE '%s' END AS class, n.at > o.at AS newer
			FROM (SELECT call, vet, bit_xor(row_hash) AS sig, count(*) AS n, max(exported_at) AS at FROM win_chk GROUP BY call, vet) n
			JOIN (SELECT call, vet, bit_xor(row_hash) AS sig, count(*) AS n, max(exported_at) AS at FROM was_checks GROUP BY call, vet) o USING (call, vet)`,
			classUnchanged, classOlder, classSuperseding),
	}
	for _, q := range script {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	changed, err := r.bookChecks(ctx)
	if err != nil {
		return err
	}
	shifts, err := r.count(ctx, `SELECT count(*) FROM shifted WHERE month = ? OR was_month = ?`, m, m)
	if err != nil || (!changed && shifts == 0) {
		return err
	}
	r.touched[m] = true
	own := "SELECT *, " + byVet + " FROM (" + relation(r.tx.Paths(store.Current, "checks", m), cols) + ")"
	query := fmt.Sprintf(`SELECT %[1]s FROM (
		SELECT w.*, %[6]d::INTEGER AS episode_month, %[2]d::INTEGER AS load_no FROM win_chk w ANTI JOIN (SELECT call, vet FROM cmp_chk WHERE class <> '%[3]s') k USING (call, vet)
		UNION ALL BY NAME
		SELECT c.* REPLACE (CASE WHEN t.newer THEN t.now_at ELSE c.exported_at END AS exported_at) FROM (%[4]s) c
			LEFT JOIN cmp_chk t ON t.call = c.call AND t.vet = c.vet AND t.class = '%[5]s'
			ANTI JOIN (SELECT call, vet FROM cmp_chk WHERE class = '%[3]s') k ON c.call = k.call AND c.vet = k.vet
			ANTI JOIN (SELECT call FROM shifted WHERE was_month = %[6]d) g ON c.call = g.call
		UNION ALL BY NAME
		SELECT c.* REPLACE (%[6]d::INTEGER AS episode_month) FROM was_checks c SEMI JOIN (SELECT call FROM shifted WHERE month = %[6]d) g USING (call)
			ANTI JOIN (SELECT call, vet FROM cmp_chk WHERE class = '%[3]s') k USING (call, vet)
		) ORDER BY call, vet, seq, finding`, names(cols, ""), r.tx.No, classSuperseding, own, classUnchanged, m)
	if err := r.replace(ctx, "checks", m, query); err != nil {
		return err
	}
	return r.history(ctx, "checks", []int{m}, fmt.Sprintf(`SELECT %d AS m, c.* FROM was_checks c
		SEMI JOIN (SELECT call, vet FROM cmp_chk WHERE class = '%s') k USING (call, vet)`, m, classSuperseding), "m", "call, seq, finding", cols)
}

// stageMonth puts the staged checks of a month's calls into the table chk. It
// reads only the exports that hold any, so that monthly exports cost one pass.
func (r *Resolver) stageMonth(ctx context.Context, m int) error {
	files, err := r.ints(ctx, `SELECT src_file FROM spread WHERE month = ? ORDER BY 1`, m)
	if err != nil {
		return err
	}
	var paths []string
	for _, p := range r.parts["checks"] {
		if slices.Contains(files, int(p.File)) {
			paths = append(paths, p.Path)
		}
	}
	sort.Strings(paths)
	return r.exec(ctx, fmt.Sprintf(`CREATE OR REPLACE TABLE chk AS SELECT s.*, %s FROM (%s) s
		SEMI JOIN (SELECT call FROM home WHERE month = %d) h USING (call)`, byVet, relation(paths, checksTable.staged()), m))
}

// bookChecks enters the month's staged checks into the accounts and reports
// whether the month changes.
func (r *Resolver) bookChecks(ctx context.Context) (changed bool, err error) {
	rows, err := r.db.QueryContext(ctx, `
		SELECT w.src_file, coalesce(k.class, 'new'), count(*), coalesce(bool_or(k.newer), false) FROM win_chk w LEFT JOIN cmp_chk k USING (call, vet) GROUP BY ALL
		UNION ALL SELECT src_file, 'within', count(*), false FROM lose_chk GROUP BY ALL`)
	if err != nil {
		return false, err
	}
	defer rows.Close()
	for rows.Next() {
		var file int32
		var class string
		var n int64
		var newer bool
		if err := rows.Scan(&file, &class, &n, &newer); err != nil {
			return false, err
		}
		s := r.sums(file)
		s.Rows += n
		switch class {
		case "new":
			s.New += n
			changed = true
		case "within":
			s.Within += n
		case classUnchanged:
			s.Unchanged += n
			changed = changed || newer
		case classOlder:
			s.Older += n
		case classSuperseding:
			s.Superseding += n
			changed = true
		}
	}
	return changed, rows.Err()
}
