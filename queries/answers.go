package queries

// Questions about what single flags and answers did.

import (
	"cmp"
	"context"
)

// FlagPatternsRow is one row of FlagPatterns.
type FlagPatternsRow struct {
	// Fired: positions of the flags that fired, from 0.
	Fired []int `json:"fired"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// NeedEmergency: 1 needed, 0 not needed, -1 not verified.
	NeedEmergency int8 `json:"need_emergency"`
	// NeedSameDay: the same for care on the same day.
	NeedSameDay int8 `json:"need_same_day"`
	// Mature: whether outcomes had time to arrive.
	Mature bool `json:"mature"`
	// N: episodes.
	N int64 `json:"n"`
}

// FlagPatterns answers: Which flags fired together, what was advised and what was needed? What only one
// flag caught, and which answers decided the advice, are sums of these rows. One row per pattern of
// flags, level, need and maturity that occurs.
func (d *DB) FlagPatterns(ctx context.Context, s Scope) ([]FlagPatternsRow, error) {
	return ask(ctx, d, "flag_patterns", names{}, s.args(), func(r *FlagPatternsRow) []any {
		return []any{(*intList)(&r.Fired), &r.Level, &r.NeedEmergency, &r.NeedSameDay, &r.Mature, &r.N}
	})
}

// CheckSecondsRow is one row of CheckSeconds.
type CheckSecondsRow struct {
	// Finding: id of the finding.
	Finding string `json:"finding"`
	// Asked: checks of first contacts that were done, tried or declined.
	Asked int64 `json:"asked"`
	// Timed: those whose beginning and end are on record, at most an hour apart.
	Timed int64 `json:"timed"`
	// Seconds: what the timed ones took together.
	Seconds float64 `json:"seconds"`
}

// CheckSeconds answers: How long did each check take on the telephone? A check lasts until the
// next question of the first contact, the last one until the call ended. One row per finding.
func (d *DB) CheckSeconds(ctx context.Context, s Scope) ([]CheckSecondsRow, error) {
	if w, err := d.walk(ctx, s); err != nil {
		return nil, err
	} else if w != nil {
		return w.seconds(), nil
	}
	return byMonth(ctx, d, s, func(s Scope) ([]CheckSecondsRow, error) {
		return ask(ctx, d, "check_seconds", names{}, s.args(), func(r *CheckSecondsRow) []any {
			return []any{&r.Finding, &r.Asked, &r.Timed, &r.Seconds}
		})
	}, func(a, b CheckSecondsRow) int { return cmp.Compare(a.Finding, b.Finding) }, func(into *CheckSecondsRow, row CheckSecondsRow) {
		into.Asked, into.Timed, into.Seconds = into.Asked+row.Asked, into.Timed+row.Timed, into.Seconds+row.Seconds
	})
}
