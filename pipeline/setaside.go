package pipeline

import (
	"context"
	"fmt"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// AsideRow is one row that was refused, and why. The cell itself is not kept;
// look at the row in the export.
type AsideRow struct {
	Load   int    `json:"load"`
	Record string `json:"record"`
	File   string `json:"file"`
	Row    int64  `json:"row"`
	Column string `json:"column"`
	Reason string `json:"reason"`
	// Found says what kind of value stood there: "text of 12 characters".
	Found    string `json:"found"`
	Expected string `json:"expected"`
	Remedy   string `json:"remedy"`
}

// AsideReason counts the rows of one reason.
type AsideReason struct {
	Reason string `json:"reason"`
	Rows   int64  `json:"rows"`
	Files  int64  `json:"files"`
}

// ReadSetAside returns the rows set aside that the filter lets through, in the
// order of load, file and row and at most limit of them (0: all), and the
// counts by reason of all that it does.
func ReadSetAside(ctx context.Context, dir string, f resolve.AsideFilter, limit int) ([]AsideRow, []AsideReason, error) {
	s, err := store.Open(dir)
	if err != nil {
		return nil, nil, fmt.Errorf("set aside: %w", err)
	}
	defer s.Close()
	db, err := duck.Open(ctx, duck.Options{})
	if err != nil {
		return nil, nil, err
	}
	defer db.Close()
	cond, args := f.Where()
	where := " WHERE " + cond
	from := "(" + resolve.AsideAsOf(s, 0) + ")"
	most := ""
	if limit > 0 {
		most = fmt.Sprintf(" LIMIT %d", limit)
	}
	rows, err := db.QueryContext(ctx, `SELECT load_no, record, file, row, coalesce("column", ''), reason, coalesce(kind, ''), coalesce(expected, ''), coalesce(remedy, '')
		FROM `+from+where+` ORDER BY load_no, file, row, "column"`+most, args...)
	if err != nil {
		return nil, nil, fmt.Errorf("set aside: %w", err)
	}
	defer rows.Close()
	list := []AsideRow{}
	for rows.Next() {
		var r AsideRow
		if err := rows.Scan(&r.Load, &r.Record, &r.File, &r.Row, &r.Column, &r.Reason, &r.Found, &r.Expected, &r.Remedy); err != nil {
			return nil, nil, err
		}
		list = append(list, r)
	}
	if err := rows.Err(); err != nil {
		return nil, nil, err
	}
	counts, err := db.QueryContext(ctx, `SELECT reason, count(*), count(DISTINCT file) FROM `+from+where+` GROUP BY reason ORDER BY count(*) DESC, reason`, args...)
	if err != nil {
		return nil, nil, fmt.Errorf("set aside: %w", err)
	}
	defer counts.Close()
	reasons := []AsideReason{}
	for counts.Next() {
		var r AsideReason
		if err := counts.Scan(&r.Reason, &r.Rows, &r.Files); err != nil {
			return nil, nil, err
		}
		reasons = append(reasons, r)
	}
	return list, reasons, counts.Err()
}
