package queries

import "context"

// SetLong has questions asked a month at a time, as on a long line.
func (d *DB) SetLong(long bool) { d.long = long }

// ReadViews has every question read the views, whatever its months.
func (d *DB) ReadViews() { d.stored = nil }

// Walk counts the seconds of checks in the order of their rows, or says that it cannot.
func (d *DB) Walk(ctx context.Context, s Scope) ([]CheckSecondsRow, error) {
	return ask(ctx, d, "check_seconds", names{walked: true}, s.args(), func(r *CheckSecondsRow) []any {
		return []any{&r.Finding, &r.Asked, &r.Timed, &r.Seconds}
	})
}
