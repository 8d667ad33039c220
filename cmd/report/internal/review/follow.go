package review

import (
	"time"

	"hindcheck/cmd/report/internal/actions"
)

// Follow sets a review beside the last one on file (nil if there is none) and
// the actions agreed on, and says what to do next. on is the day by which an
// action is overdue, the zero time for that of the data cut.
func Follow(r, last *Review, file []actions.Action, on time.Time) {
	if on.IsZero() {
		on = r.AsOf.DataCut.Truncate(24 * time.Hour)
	}
	r.Since = since(r, last)
	r.Actions = agreed(file, last, on)
	r.Next = next(r)
}
