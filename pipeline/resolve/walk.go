package resolve

import (
	"context"
	"fmt"
	"path/filepath"

	"hindcheck/pipeline/derive"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/store"
)

// walkMonth derives the cases of a month in one pass over its files.
func (r *Resolver) walkMonth(ctx context.Context, month int, files derive.Files) error {
	def, err := r.definitions(ctx)
	if err != nil {
		return err
	}
	path := filepath.Join(r.tx.Staging(), fmt.Sprintf("cases-%d.parquet", month))
	n, err := derive.Month(ctx, def, files, path)
	if n > 0 && err == nil {
		r.res.Add = append(r.res.Add, store.Staged{Part: store.Cases, Month: month, Path: path, Rows: n})
	}
	return err
}

// definitions are what the walk derives cases under.
func (r *Resolver) definitions(ctx context.Context) (derive.Definitions, error) {
	def := derive.Definitions{Dictionary: r.set.Dictionary, CaseDef: r.set.CaseDef, EpisodeHours: r.set.EpisodeHours,
		Shifts: func(zone string, from, step int64, n int) ([]int64, error) { return r.shifts(ctx, zone, from, step, n) }}
	if r.set.Rules == nil || len(r.set.Rules.Flags) == 0 {
		return def, nil
	}
	var err error
	if def.Program, err = rules.Compile(r.set.Rules, r.set.Dictionary); err != nil {
		err = fmt.Errorf("compile rules: %w", err)
	}
	return def, err
}

// shifts tells how far, in microseconds, the clock of a zone is ahead of UTC at n
// moments.
func (r *Resolver) shifts(ctx context.Context, zone string, from, step int64, n int) ([]int64, error) {
	rows, err := r.db.QueryContext(ctx, `SELECT epoch_us(timezone($1, make_timestamptz($2 + i * $3))) - ($2 + i * $3) FROM range($4) moments(i) ORDER BY i`, zone, from, step, n)
	if err != nil {
		return nil, fmt.Errorf("clock of %s: %w", zone, err)
	}
	defer rows.Close()
	out := make([]int64, 0, n)
	for rows.Next() {
		var shift int64
		if err := rows.Scan(&shift); err != nil {
			return nil, err
		}
		out = append(out, shift)
	}
	return out, rows.Err()
}
