package resolve

import (
	"context"
	"fmt"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// AsideTable is the Part.Table of rows that reading has already set aside; they
// are booked by the reader.
const AsideTable = "set_aside"

// keepReasons writes what reading has set aside, in one file.
func (r *Resolver) keepReasons(ctx context.Context) error {
	var paths []string
	for _, p := range r.parts[AsideTable] {
		paths = append(paths, p.Path)
	}
	if len(paths) == 0 {
		return nil
	}
	_, err := r.write(ctx, store.Aside, "", -1, fmt.Sprintf(`SELECT %d::INTEGER AS load_no, file, row, "column", reason, kind, expected, remedy
		FROM read_parquet(%s) ORDER BY file, row, "column"`, r.tx.No, duck.FileList(paths)))
	return err
}

// setAside refuses the staged rows that a SELECT gives (src_file, src_row,
// column, reason, kind, expected, remedy), books them and writes the reasons.
// The cells themselves are not kept.
func (r *Resolver) setAside(ctx context.Context, query string) error {
	if err := r.exec(ctx, `CREATE OR REPLACE TABLE aside AS `+query); err != nil {
		return err
	}
	rows, err := r.db.QueryContext(ctx, `SELECT src_file, reason, count(*) FROM aside GROUP BY ALL ORDER BY ALL`)
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
	if err := rows.Err(); err != nil {
		return err
	}
	r.aside++
	_, err = r.write(ctx, store.Aside, "", -1-r.aside, fmt.Sprintf(`SELECT %d::INTEGER AS load_no, f.name AS file, a.src_row AS row, a."column",
		a.reason, a.kind, a.expected, a.remedy FROM aside a JOIN files f ON f.no = a.src_file ORDER BY f.name, a.src_row`, r.tx.No))
	return err
}
