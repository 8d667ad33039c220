package resolve

import (
	"context"
	"fmt"
	"slices"

	"hindcheck/pipeline/store"
)

// Retry says that only rows set aside earlier are to be resolved. The parts
// hold their exports as they read now, from end to end: a row enters as if it
// had been understood when its export was loaded, so that it supersedes nothing
// newer, not even a later row of the same export.
//
// Rows of the same key that were not refused decide which row of an export is
// the last; they are neither loaded nor booked again.
type Retry struct {
	// Filter chooses among the rows set aside.
	Filter AsideFilter
}

// AsideFilter narrows rows set aside; an empty field does not.
type AsideFilter struct {
	Reason, File string
	Load         int
}

// Where is the filter as a condition, with its arguments.
func (f AsideFilter) Where() (cond string, args []any) {
	return `(? = '' OR reason = ?) AND (? = '' OR file = ?) AND (? = 0 OR load_no = ?)`,
		[]any{f.Reason, f.Reason, f.File, f.File, f.Load, f.Load}
}

// Retried counts the rows set aside that a retry took up and those that are
// set aside no longer.
type Retried struct {
	Tried  int64 `json:"tried"`
	Mended int64 `json:"mended"`
}

// startRetry makes
//
//	waiting  every row set aside of the exports at hand; chosen: those to be tried
//	tried    their rows, with the finding where one reading of the row is meant
//	refused  rows that are refused again, filled on the way
func (r *Resolver) startRetry(ctx context.Context) error {
	if r.retry == nil {
		return nil
	}
	cond, args := r.retry.Filter.Where()
	err := r.exec(ctx, `CREATE TABLE waiting AS SELECT f.no AS src_file, a.row AS src_row, a."column", a.reason, bool_or(`+cond+`) AS chosen
		FROM (`+AsideRelation(r.tx.Paths(store.Aside, ""))+`) a JOIN files f USING (record, source, content) GROUP BY ALL`, args...)
	if err != nil {
		return err
	}
	for _, q := range []string{
		`CREATE TABLE tried AS SELECT DISTINCT w.src_file, w.src_row, l.finding, w.chosen FROM waiting w LEFT JOIN label l USING (src_file, "column")`,
		`CREATE TABLE refused (src_file INTEGER, src_row BIGINT, "column" VARCHAR, reason VARCHAR, kind VARCHAR, expected VARCHAR, remedy VARCHAR)`,
	} {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	return nil
}

// refuseAgain books and notes the tried rows that reading refused again.
func (r *Resolver) refuseAgain(ctx context.Context) error {
	err := r.exec(ctx, `INSERT INTO refused SELECT DISTINCT p.* FROM (`+r.readAside()+`) p
		LEFT JOIN label l ON l.src_file = p.src_file AND l."column" = p."column"
		JOIN tried t ON t.src_file = p.src_file AND t.src_row = p.src_row
		WHERE t.chosen AND (t.finding IS NULL OR l.finding IS NULL OR t.finding = l.finding)`)
	if err != nil {
		return err
	}
	return r.bookAside(ctx, "refused")
}

// pickKeyed leaves in st_T only the tried rows that may enter. A row is passed
// over as superseded within its export where a later row of the export has its
// key, and as older where the store holds the key from another export of the
// same time.
func (r *Resolver) pickKeyed(ctx context.Context, t table) error {
	key := quoteAll(t.key)
	script := []string{
		fmt.Sprintf(`CREATE TABLE again_%[1]s AS SELECT s.* FROM st_%[1]s s SEMI JOIN (SELECT src_file, src_row FROM tried WHERE chosen) USING (src_file, src_row)`, t.name),
		fmt.Sprintf(`CREATE TABLE near_%[1]s AS SELECT %[2]s, src_file, max({e: exported_at, r: src_row}) AS last FROM st_%[1]s
			SEMI JOIN again_%[1]s USING (%[2]s) ANTI JOIN tried USING (src_file, src_row) GROUP BY ALL`, t.name, key),
		fmt.Sprintf(`CREATE TABLE pass_%[1]s AS
			SELECT a.src_file, a.src_row, CASE WHEN n.last IS NULL THEN 'older' ELSE 'within' END AS class
			FROM again_%[1]s a LEFT JOIN near_%[1]s n USING (src_file, %[2]s) LEFT JOIN cur_%[1]s c USING (%[2]s)
			WHERE n.last > {e: a.exported_at, r: a.src_row} OR n.last IS NULL AND c.exported_at = a.exported_at AND c.row_hash <> a.row_hash`, t.name, key),
		fmt.Sprintf(`DELETE FROM again_%[1]s WHERE (src_file, src_row) IN (SELECT (src_file, src_row) FROM pass_%[1]s)`, t.name),
	}
	for _, q := range append(script, r.replaceStaged(t)...) {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	return r.bookPassed(ctx, "pass_"+t.name)
}

// replaceStaged makes again_T the staged rows of a table.
func (r *Resolver) replaceStaged(t table) []string {
	kind := "VIEW"
	if r.inMemory[t.name] {
		kind = "TABLE"
	}
	r.inMemory[t.name] = true
	return []string{"DROP " + kind + " st_" + t.name, fmt.Sprintf("CREATE VIEW st_%[1]s AS SELECT * FROM again_%[1]s", t.name)}
}

// bookPassed enters rows (src_file, class) that do not come before the store's
// own rows into the accounts.
func (r *Resolver) bookPassed(ctx context.Context, table string) error {
	rows, err := r.db.QueryContext(ctx, `SELECT src_file, class, count(*) FROM `+table+` GROUP BY ALL`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var file int32
		var class string
		var n int64
		if err := rows.Scan(&file, &class, &n); err != nil {
			return err
		}
		s := r.sums(file)
		s.Rows += n
		switch class {
		case "new":
			s.New += n
		case "within":
			s.Within += n
		case classUnchanged:
			s.Unchanged += n
		case classOlder:
			s.Older += n
		case classSuperseding:
			s.Superseding += n
		default:
			return fmt.Errorf("book retried rows: no class %q", class)
		}
	}
	return rows.Err()
}

// pickChecks leaves in st_checks the tried checks that may enter, completed by
// the checks that their call has from the same export, since the checks of a
// call enter as a whole. It books the tried ones; orphans are left to
// orphanChecks.
func (r *Resolver) pickChecks(ctx context.Context) error {
	const unit = "call, vet"
	cols := checksTable.staged()
	script := []string{
		`CREATE TABLE again_all AS SELECT DISTINCT s.*, ` + byVet + ` FROM (` + r.withoutOutliers("SELECT * FROM st_checks") + `) s JOIN tried t ON t.src_file = s.src_file AND t.src_row = s.src_row
			WHERE t.chosen AND (t.finding IS NULL OR t.finding = s.finding)`,
		// Checks of the same calls that were not refused.
		`CREATE TABLE near_checks AS SELECT src_file, src_row, call, vet, finding, seq FROM (SELECT *, ` + byVet + ` FROM st_checks) SEMI JOIN again_all USING (` + unit + `)`,
		`DELETE FROM near_checks n USING tried t WHERE t.src_file = n.src_file AND t.src_row = n.src_row AND (t.finding IS NULL OR t.finding = n.finding)`,
		`CREATE TABLE held_checks AS SELECT * FROM (SELECT *, ` + byVet + ` FROM cur_checks) SEMI JOIN again_all USING (` + unit + `)`,
		`CREATE TABLE held_units AS SELECT ` + unit + `, max(exported_at) AS at FROM held_checks GROUP BY ALL`,
		`CREATE TABLE top_units AS SELECT ` + unit + `, max({e: exported_at, f: src_file}) AS top FROM again_all GROUP BY ALL`,
		`CREATE TABLE near_units AS SELECT DISTINCT src_file, ` + unit + ` FROM near_checks`,
		// Why a tried check does not enter, if it does not.
		`CREATE TABLE again_class AS SELECT a.*, h.at = a.exported_at AS joins, CASE
				WHEN {e: a.exported_at, f: a.src_file} <> t.top THEN 'within'
				WHEN h.at > a.exported_at OR h.at = a.exported_at AND u.call IS NULL THEN 'older'
				WHEN EXISTS (FROM near_checks n WHERE n.src_file = a.src_file AND n.call = a.call AND n.vet = a.vet AND n.finding = a.finding
					AND n.seq = a.seq AND n.src_row > a.src_row) THEN 'within'
				WHEN row_number() OVER (PARTITION BY a.src_file, a.call, a.vet, a.finding, a.seq ORDER BY a.src_row DESC) > 1 THEN 'within'
			END AS passed
			FROM again_all a JOIN top_units t USING (` + unit + `) LEFT JOIN held_units h USING (` + unit + `)
			LEFT JOIN near_units u ON u.src_file = a.src_file AND u.call = a.call AND u.vet = a.vet`,
		`CREATE TABLE pass_checks AS SELECT a.src_file, coalesce(a.passed, CASE
				WHEN NOT a.joins THEN '` + classSuperseding + `'
				WHEN h.call IS NULL THEN 'new'
				WHEN h.row_hash = a.row_hash THEN '` + classUnchanged + `' ELSE '` + classSuperseding + `' END) AS class
			FROM again_class a LEFT JOIN held_checks h USING (` + unit + `, finding, seq) SEMI JOIN home USING (call)`,
		`CREATE TABLE again_checks AS SELECT ` + names(cols, "") + ` FROM again_class WHERE passed IS NULL OR call NOT IN (SELECT call FROM home)`,
		`INSERT INTO again_checks SELECT ` + names(slices.Concat(checksTable.columns, stamp), "h.") + `, j.src_file, 0 FROM held_checks h
			JOIN (SELECT DISTINCT src_file, ` + unit + ` FROM again_class WHERE passed IS NULL AND joins) j USING (` + unit + `)
			ANTI JOIN (SELECT * FROM again_class WHERE passed IS NULL) a USING (` + unit + `, finding, seq)`,
	}
	for _, q := range append(script, r.replaceStaged(checksTable)...) {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	return r.bookPassed(ctx, "pass_checks")
}

// settleAside takes rows that are refused no longer out of those set aside, and
// puts rows that are refused for another reason in their place.
func (r *Resolver) settleAside(ctx context.Context) error {
	if r.retry == nil {
		return nil
	}
	for _, q := range []string{
		`CREATE TABLE leaving AS SELECT src_file, src_row, "column", reason FROM waiting WHERE chosen EXCEPT SELECT src_file, src_row, "column", reason FROM refused`,
		`CREATE TABLE arriving AS SELECT * FROM refused r WHERE NOT EXISTS (FROM waiting w WHERE w.src_file = r.src_file AND w.src_row = r.src_row
			AND w."column" IS NOT DISTINCT FROM r."column" AND w.reason = r.reason)`,
	} {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	var err error
	if r.res.Retried.Tried, err = r.count(ctx, `SELECT count(*) FROM waiting WHERE chosen`); err != nil {
		return err
	}
	if r.res.Retried.Mended, err = r.count(ctx, `SELECT count(*) FROM leaving ANTI JOIN arriving USING (src_file, src_row)`); err != nil {
		return err
	}
	r.aside++
	if _, err := r.write(ctx, store.Aside, "", -r.aside, r.asideSelect("SELECT * FROM arriving", `f.name, a.src_row, a."column"`)); err != nil {
		return err
	}
	return r.dropAside(ctx, `SELECT a.file_row_number FROM aside_file a JOIN files f USING (record, source, content)
		JOIN leaving l ON l.src_file = f.no AND l.src_row = a.row AND l.reason = a.reason AND l."column" IS NOT DISTINCT FROM a."column"`)
}
