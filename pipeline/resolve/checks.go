package resolve

import (
	"context"
	"fmt"

	"hindcheck/pipeline/store"
)

// checks resolves the home checks. The unit is a call and who looked: a later
// export of a call replaces all its telephone checks, since a check that was
// struck out simply stops being exported; the vet's own readings come with the
// outcomes and replace only each other.
func (r *Resolver) checks(ctx context.Context) error {
	if err := r.exec(ctx, `CREATE VIEW home AS SELECT call, month, started_at FROM callmonth
			UNION ALL SELECT c.call, c.episode_month, c.started_at FROM cur_calls c ANTI JOIN callmonth USING (call)`); err != nil {
		return err
	}
	if err := r.outliers(ctx); err != nil {
		return err
	}
	if r.retry != nil {
		if err := r.pickChecks(ctx); err != nil {
			return err
		}
	}
	if err := r.openRuns(ctx); err != nil {
		return err
	}
	// Calls that the store does not hold are few, and noted by name where runs are known.
	spread, stray := `SELECT src_file, call, 1 AS n FROM st_checks`, `NULL::UUID`
	if r.hasRuns {
		spread, stray = `SELECT src_file, call, n FROM runs`, `CASE WHEN h.month IS NULL THEN call END`
	}
	script := []string{
		`CREATE TABLE shifted AS SELECT call, was_month, month FROM moved WHERE was_month <> month
			UNION SELECT g.call, g.was_month, k.month FROM gone g JOIN callmonth k USING (call) WHERE g.was_month <> k.month`,
		`CREATE TABLE spread AS SELECT s.src_file, h.month, ` + stray + ` AS stray, sum(n)::BIGINT AS n FROM (` + spread + `) s LEFT JOIN home h USING (call) GROUP BY ALL`,
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
	if months, err = r.copyMonths(ctx, months); err != nil {
		return err
	}
	sizes, err := r.stagedSizes(ctx)
	if err != nil {
		return err
	}
	for _, batch := range inBatches(months, sizes, batchChecks) {
		if err := r.checksOfMonths(ctx, batch); err != nil {
			return fmt.Errorf("months %s: %w", joinInts(batch), err)
		}
	}
	return nil
}

// batchChecks bounds the staged checks that are held at a time. An export holds
// late rows of the month before, so that months taken one by one would read each
// export twice; the bound keeps memory from growing with the load.
const batchChecks = 500_000

// stagedSizes counts the staged checks by the month that they belong to.
func (r *Resolver) stagedSizes(ctx context.Context) (map[int]int64, error) {
	return r.perMonth(ctx, `SELECT month, sum(n)::BIGINT FROM spread WHERE month IS NOT NULL GROUP BY month`)
}

// byVet tells the vet's own readings from the telephone checks of a call.
const byVet = "coalesce(observer::VARCHAR = 'vet', false) AS vet"

// orphanChecks sets aside checks of calls that the store does not hold.
func (r *Resolver) orphanChecks(ctx context.Context) error {
	n, err := r.count(ctx, `SELECT coalesce(sum(n), 0)::BIGINT FROM spread WHERE month IS NULL`)
	if err != nil || n == 0 {
		return err
	}
	staged, err := r.stagedOf(ctx, checksTable, `SELECT DISTINCT src_file FROM spread WHERE month IS NULL`)
	if err != nil {
		return err
	}
	without := `ANTI JOIN home`
	if r.hasRuns { // a few calls, instead of all
		without = `SEMI JOIN (SELECT DISTINCT stray AS call FROM spread WHERE month IS NULL)`
	}
	return r.setAside(ctx, `SELECT src_file, src_row, 'call' AS "column", 'orphan_check' AS reason, 'pseudonym' AS kind,
		'a call that this load or an earlier one brought' AS expected,
		'load the calls export of that month, then try the row again with: ingest set-aside retry' AS remedy
		FROM (`+staged+`) s `+without+` USING (call)`)
}

// checksOfMonths writes the new present of some months' checks.
func (r *Resolver) checksOfMonths(ctx context.Context, months []int) error {
	if err := r.stageMonths(ctx, months); err != nil {
		return err
	}
	if err := r.dropBeaten(ctx); err != nil {
		return err
	}
	before, err := r.ints(ctx, `SELECT DISTINCT was_month FROM shifted WHERE month IN (`+joinInts(months)+`)`)
	if err != nil {
		return err
	}
	was := r.tx.Paths(store.Current, "checks", append(before, months...)...)
	if err := r.compareChecks(ctx, was); err != nil {
		return err
	}
	if err := r.countUnusual(ctx, months); err != nil {
		return err
	}
	changed, err := r.bookChecks(ctx)
	if err != nil {
		return err
	}
	for _, m := range months {
		shifts, err := r.count(ctx, `SELECT count(*) FROM shifted WHERE month = ? OR was_month = ?`, m, m)
		if err != nil {
			return err
		}
		if !changed[m] && shifts == 0 {
			continue
		}
		if err := r.writeChecks(ctx, m, len(was) > 0); err != nil {
			return err
		}
	}
	return nil
}

// stageMonths puts the staged checks of some months' calls into the table chk,
// each with its month and the place of its export among those of the load: a
// later export wins, then a later file.
func (r *Resolver) stageMonths(ctx context.Context, months []int) error {
	list := joinInts(months)
	staged, err := r.stagedOf(ctx, checksTable, `SELECT DISTINCT src_file FROM spread WHERE month IN (`+list+`)`)
	if err != nil {
		return err
	}
	return r.exec(ctx, fmt.Sprintf(`CREATE OR REPLACE TABLE chk AS SELECT s.*, %s, h.month AS home_month, h.started_at AS home_start FROM (%s) s
		JOIN (SELECT call, month, started_at FROM home WHERE month IN (%s)) h USING (call)`, byVet, r.withoutOutliers(staged), list))
}

// dropBeaten takes out of chk what does not come from the winning export of a
// call, and of equal keys all but the last row; lose_chk counts what was taken.
// Most calls stand in one export and most keys in one row, so both are first
// sought with one narrow count, and only what it finds is looked at closely.
func (r *Resolver) dropBeaten(ctx context.Context) error {
	script := []string{
		`CREATE OR REPLACE TABLE contest AS SELECT call, vet, max({e: exported_at, f: src_file}) AS top FROM chk
			SEMI JOIN (SELECT call FROM chk GROUP BY call HAVING min(src_file) <> max(src_file) OR min(exported_at) <> max(exported_at)) t USING (call) GROUP BY call, vet`,
		`CREATE OR REPLACE TABLE beaten AS SELECT c.rowid AS id FROM chk c JOIN contest b USING (call, vet)
			WHERE {e: c.exported_at, f: c.src_file} <> b.top`,
		`CREATE OR REPLACE TABLE lose_chk AS SELECT home_month, src_file, count(*) AS n FROM chk SEMI JOIN beaten ON beaten.id = chk.rowid GROUP BY ALL`,
		`DELETE FROM chk WHERE rowid IN (SELECT id FROM beaten)`,
		// A hash stands for the key; what shares one by chance is told apart below.
		`CREATE OR REPLACE TABLE alike AS SELECT hash(call, vet, finding, seq) AS h FROM chk GROUP BY h HAVING count(*) > 1`,
		`CREATE OR REPLACE TABLE beaten AS SELECT id FROM (
			SELECT c.rowid AS id, row_number() OVER (PARTITION BY call, vet, finding, seq ORDER BY src_row DESC) AS place
			FROM chk c SEMI JOIN alike ON alike.h = hash(c.call, c.vet, c.finding, c.seq)) WHERE place > 1`,
		`INSERT INTO lose_chk SELECT home_month, src_file, count(*) FROM chk SEMI JOIN beaten ON beaten.id = chk.rowid GROUP BY ALL`,
		`DELETE FROM chk WHERE rowid IN (SELECT id FROM beaten)`,
	}
	for _, q := range script {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	return nil
}

// compareChecks makes cmp_chk: the calls of chk whose checks the store holds,
// with their class. was are the present files in which they may stand.
func (r *Resolver) compareChecks(ctx context.Context, was []string) error {
	if err := r.exec(ctx, `CREATE OR REPLACE VIEW was_checks AS SELECT *, `+byVet+` FROM (`+relation(was, checksTable.stored())+`)`); err != nil {
		return err
	}
	query := `CREATE OR REPLACE TABLE cmp_chk (call UUID, vet BOOLEAN, home_month INTEGER, now_at TIMESTAMPTZ, class VARCHAR, newer BOOLEAN)`
	if len(was) > 0 {
		query = fmt.Sprintf(`CREATE OR REPLACE TABLE cmp_chk AS
			SELECT n.call, n.vet, n.home_month, n.at AS now_at, CASE WHEN n.sig = o.sig AND n.n = o.n THEN '%s' WHEN n.at < o.at THEN '%s' ELSE '%s' END AS class, n.at > o.at AS newer
			FROM (SELECT call, vet, any_value(home_month) AS home_month, bit_xor(row_hash) AS sig, count(*) AS n, max(exported_at) AS at FROM chk GROUP BY call, vet) n
			JOIN (SELECT call, vet, bit_xor(row_hash) AS sig, count(*) AS n, max(exported_at) AS at FROM was_checks GROUP BY call, vet) o USING (call, vet)`,
			classUnchanged, classOlder, classSuperseding)
	}
	return r.exec(ctx, query)
}

// writeChecks writes one month: the rows of the load, and where the store held
// rows before (stored), those that stay and those that move in.
func (r *Resolver) writeChecks(ctx context.Context, m int, stored bool) error {
	r.touched[m] = true
	cols := checksTable.stored()
	fresh := fmt.Sprintf(`SELECT c.*, home_month AS episode_month, %d::INTEGER AS load_no FROM chk c`, r.tx.No)
	// Calls in the order of their start: what is alike in time stands together,
	// which packs better and lets a query for a week pass over row groups.
	const order = "home_start, call, vet, seq, finding"
	if !stored {
		return r.replace(ctx, "checks", m, cols, fmt.Sprintf(`(%s WHERE home_month = %d)`, fresh, m), order)
	}
	own := "SELECT *, " + byVet + " FROM (" + relation(r.tx.Paths(store.Current, "checks", m), cols) + ")"
	query := fmt.Sprintf(`(
		SELECT * EXCLUDE (home_start) FROM (%[1]s) ANTI JOIN (SELECT call, vet FROM cmp_chk WHERE class <> '%[2]s') k USING (call, vet) WHERE home_month = %[5]d
		UNION ALL BY NAME
		SELECT c.* REPLACE (CASE WHEN t.newer THEN t.now_at ELSE c.exported_at END AS exported_at) FROM (%[3]s) c
			LEFT JOIN cmp_chk t ON t.call = c.call AND t.vet = c.vet AND t.class = '%[4]s'
			ANTI JOIN (SELECT call, vet FROM cmp_chk WHERE class = '%[2]s') k ON c.call = k.call AND c.vet = k.vet
			ANTI JOIN (SELECT call FROM shifted WHERE was_month = %[5]d) g ON c.call = g.call
		UNION ALL BY NAME
		SELECT c.* REPLACE (%[5]d::INTEGER AS episode_month) FROM was_checks c SEMI JOIN (SELECT call FROM shifted WHERE month = %[5]d) g USING (call)
			ANTI JOIN (SELECT call, vet FROM cmp_chk WHERE class = '%[2]s') k USING (call, vet)
		) JOIN (SELECT call, started_at AS home_start FROM home WHERE month = %[5]d) USING (call)`, fresh, classSuperseding, own, classUnchanged, m)
	if err := r.replace(ctx, "checks", m, cols, query, order); err != nil {
		return err
	}
	// A superseded row is filed under the month that its call has now.
	return r.history(ctx, "checks", []int{m}, fmt.Sprintf(`SELECT %[1]d AS m, c.* FROM was_checks c
		SEMI JOIN (SELECT call, vet FROM cmp_chk WHERE class = '%[2]s' AND home_month = %[1]d) k USING (call, vet)`, m, classSuperseding), "m", "call, seq, finding", cols)
}

// bookChecks enters the staged checks of chk into the accounts and reports
// which months change.
func (r *Resolver) bookChecks(ctx context.Context) (changed map[int]bool, err error) {
	rows, err := r.db.QueryContext(ctx, `
		SELECT w.home_month, w.src_file, coalesce(k.class, 'new'), count(*), coalesce(bool_or(k.newer), false)
		FROM chk w LEFT JOIN cmp_chk k USING (call, vet) GROUP BY ALL
		UNION ALL SELECT home_month, src_file, 'within', n, false FROM lose_chk`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	changed = map[int]bool{}
	for rows.Next() {
		var m int
		var file int32
		var class string
		var n int64
		var newer bool
		if err := rows.Scan(&m, &file, &class, &n, &newer); err != nil {
			return nil, err
		}
		s := r.sums(file)
		if r.retry != nil {
			s = new(store.Sums) // pickChecks has booked what was tried
		}
		s.Rows += n
		switch class {
		case "new":
			s.New += n
			changed[m] = true
		case "within":
			s.Within += n
		case classUnchanged:
			s.Unchanged += n
			changed[m] = changed[m] || newer
		case classOlder:
			s.Older += n
		case classSuperseding:
			s.Superseding += n
			changed[m] = true
		}
	}
	return changed, rows.Err()
}
