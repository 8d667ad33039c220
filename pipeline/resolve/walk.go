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
	def := derive.Definitions{Dictionary: r.set.Dictionary, CaseDef: r.set.CaseDef, EpisodeHours: r.set.EpisodeHours, Shifts: derive.ShiftsOf(ctx, r.db)}
	if r.set.Rules == nil || len(r.set.Rules.Flags) == 0 {
		return def, nil
	}
	var err error
	if def.Program, err = rules.Compile(r.set.Rules, r.set.Dictionary); err != nil {
		err = fmt.Errorf("compile rules: %w", err)
	}
	return def, err
}
