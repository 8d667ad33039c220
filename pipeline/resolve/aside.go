package resolve

import (
	"context"
	"fmt"
	"strings"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// AsideTable is the Part.Table of rows that reading has already set aside; they
// are booked by the reader, save in a retry.
const AsideTable = "set_aside"

// asideColumns are the stored columns of a row set aside: which load refused
// it, of which export (kind of record, source description, content), and why.
// The cell itself is nowhere.
var asideColumns = parseColumns(`load_no INTEGER, record VARCHAR, source VARCHAR, content VARCHAR, file VARCHAR, row BIGINT, column VARCHAR,
	reason VARCHAR, kind VARCHAR, expected VARCHAR, remedy VARCHAR`)

// AsideRelation makes the SELECT of rows set aside from the files at paths.
func AsideRelation(paths []string) string { return relation(paths, asideColumns) }

// keepReasons writes what reading has set aside, in one file.
func (r *Resolver) keepReasons(ctx context.Context) error {
	if len(r.parts[AsideTable]) == 0 {
		return nil
	}
	if r.retry != nil {
		return r.refuseAgain(ctx)
	}
	r.aside++
	_, err := r.write(ctx, store.Aside, "", -r.aside, r.asideSelect(r.readAside(), `file, row, "column"`))
	return err
}

// readAside selects what reading has set aside in this load.
func (r *Resolver) readAside() string {
	var paths, numbers []string
	for _, p := range r.parts[AsideTable] {
		paths = append(paths, p.Path)
		numbers = append(numbers, fmt.Sprintf("(%s, %d)", duck.Quote(p.Path), p.File))
	}
	return fmt.Sprintf(`SELECT n.no::INTEGER AS src_file, p.row AS src_row, p."column", p.reason, p.kind, p.expected, p.remedy
		FROM read_parquet(%s, filename = true) p JOIN (VALUES %s) AS n(path, no) ON n.path = p.filename`, duck.FileList(paths), strings.Join(numbers, ", "))
}

// asideSelect gives refused rows (src_file, src_row, column, reason, kind,
// expected, remedy) the columns under which they are stored.
func (r *Resolver) asideSelect(from, order string) string {
	return fmt.Sprintf(`SELECT %d::INTEGER AS load_no, f.record, f.source, f.content, f.name AS file, a.src_row AS row, a."column",
		a.reason, a.kind, a.expected, a.remedy FROM (%s) a JOIN files f ON f.no = a.src_file ORDER BY %s`, r.tx.No, from, order)
}

// setAside refuses the staged rows that a SELECT gives (src_file, src_row,
// column, reason, kind, expected, remedy), books them and writes the reasons.
// The cells themselves are not kept.
func (r *Resolver) setAside(ctx context.Context, query string) error {
	if err := r.exec(ctx, `CREATE OR REPLACE TABLE aside AS `+query); err != nil {
		return err
	}
	if err := r.bookAside(ctx, "aside"); err != nil {
		return err
	}
	if r.retry != nil {
		return r.exec(ctx, `INSERT INTO refused SELECT * FROM aside`)
	}
	r.aside++
	_, err := r.write(ctx, store.Aside, "", -r.aside, r.asideSelect("SELECT * FROM aside", "f.name, a.src_row"))
	return err
}

// bookAside enters the rows of a table of refused rows into the accounts.
func (r *Resolver) bookAside(ctx context.Context, table string) error {
	rows, err := r.db.QueryContext(ctx, `SELECT src_file, reason, count(*) FROM `+table+` GROUP BY ALL ORDER BY ALL`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var file int32
		var reason string
		var n int64
		if err := rows.Scan(&file, &reason, &n); err != nil {
			return err
		}
		s := r.sums(file)
		s.Rows += n
		s.SetAside += n
		r.res.Aside[reason] += n
	}
	return rows.Err()
}

// dropReread takes the rows that an earlier reading of an export set aside out
// of the present, where this load has read the same bytes again from end to
// end: every row of it is accounted for anew.
func (r *Resolver) dropReread(ctx context.Context) error {
	if r.retry != nil || r.tx.No == 1 {
		return nil
	}
	return r.dropAside(ctx, `SELECT a.file_row_number FROM aside_file a SEMI JOIN files f USING (record, source, content)`)
}

// dropAside moves rows set aside from the present to the superseded ones. The
// SELECT gives their file_row_number in the view aside_file, which stands for
// each stored file in turn.
func (r *Resolver) dropAside(ctx context.Context, gone string) error {
	for _, f := range r.tx.Manifest.Select(store.Aside, "") {
		path := r.tx.PathOf(f)
		if err := r.exec(ctx, `CREATE OR REPLACE VIEW aside_file AS SELECT * FROM read_parquet(`+duck.Quote(path)+`, hive_partitioning = false, file_row_number = true)`); err != nil {
			return err
		}
		if err := r.exec(ctx, `CREATE OR REPLACE TABLE aside_gone AS `+gone); err != nil {
			return err
		}
		n, err := r.count(ctx, `SELECT count(*) FROM aside_gone`)
		if err != nil {
			return err
		}
		if n == 0 {
			continue
		}
		r.aside++
		cols := names(asideColumns, "")
		if _, err := r.write(ctx, store.Aside, "", -r.aside, `SELECT `+cols+` FROM aside_file ANTI JOIN aside_gone USING (file_row_number) ORDER BY file_row_number`); err != nil {
			return err
		}
		if _, err := r.write(ctx, store.History, AsideTable, -r.aside, fmt.Sprintf(`SELECT %s, %d::INTEGER AS superseded_by
			FROM aside_file SEMI JOIN aside_gone USING (file_row_number) ORDER BY file_row_number`, cols, r.tx.No)); err != nil {
			return err
		}
		r.res.Drop = append(r.res.Drop, f.Path)
	}
	return nil
}
