package pipeline

import (
	"context"
	"fmt"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// AsideFilter narrows the rows set aside; an empty field does not.
type AsideFilter struct {
	Reason, File string
	Load         int
	// Limit bounds the rows returned; 0 means all.
	Limit int
}

// AsideRow is one row that was refused, and why. The cell itself is not kept;
// look at the row in the export.
type AsideRow struct {
	Load   int    `json:"load"`
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
// order of load, file and row, and the counts by reason of all that it does.
func ReadSetAside(ctx context.Context, dir string, f AsideFilter) ([]AsideRow, []AsideReason, error) {
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
	const where = ` WHERE (? = '' OR reason = ?) AND (? = '' OR file = ?) AND (? = 0 OR load_no = ?)`
	args := []any{f.Reason, f.Reason, f.File, f.File, f.Load, f.Load}
	from := "(" + resolve.AsideAsOf(s, 0) + ")"
	limit := ""
	if f.Limit > 0 {
		limit = fmt.Sprintf(" LIMIT %d", f.Limit)
	}
	rows, err := db.QueryContext(ctx, `SELECT load_no, file, row, coalesce("column", ''), reason, coalesce(kind, ''), coalesce(expected, ''), coalesce(remedy, '')
		FROM `+from+where+` ORDER BY load_no, file, row, "column"`+limit, args...)
	if err != nil {
		return nil, nil, fmt.Errorf("set aside: %w", err)
	}
	defer rows.Close()
	list := []AsideRow{}
	for rows.Next() {
		var r AsideRow
		if err := rows.Scan(&r.Load, &r.File, &r.Row, &r.Column, &r.Reason, &r.Found, &r.Expected, &r.Remedy); err != nil {
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
