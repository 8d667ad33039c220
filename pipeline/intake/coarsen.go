package intake

import (
	"math"

	"hindcheck/pipeline/records"
)

const minuteMicros = 60_000_000

// coarsen keeps ages, weights and times of rows [from, to) as coarsely as the
// line wishes. It comes after all checks, which judge what the export says, and
// before the row hash, so that a finer export of the same record is no change.
// The time of the export stays: by it the later export wins.
func (w *worker) coarsen(from, to int) {
	by := w.p.in.Coarse
	for i := range w.columns {
		c := &w.columns[i]
		switch {
		case c.absent:
		case c.Name == "age_months" && by.AgeMonths > 1:
			for j := from; j < to; j++ {
				c.i32[j] -= c.i32[j] % int32(by.AgeMonths)
			}
		case c.Name == "weight_kg" && by.WeightKg > 0:
			for j := from; j < to; j++ {
				if c.valid[j] == 1 {
					c.f64[j] = (math.Floor(c.f64[j]/by.WeightKg) + 0.5) * by.WeightKg
				}
			}
		case c.Kind == records.Time && c.Name != records.ExportedAt && by.Minutes > 1:
			step := int64(by.Minutes) * minuteMicros
			for j := from; j < to; j++ {
				c.i64[j] -= c.i64[j] % step // no time before 1990 comes this far
			}
		}
	}
}
