package queries

// Questions about the thresholds of a number.

import "context"

// ThresholdValuesRow is one row of ThresholdValues.
type ThresholdValuesRow struct {
	// Month: of the first contact, yyyymm.
	Month int `json:"month"`
	// Species: of the animal; empty if not recorded.
	Species string `json:"species"`
	// Setting: home, car or clinic; empty if not recorded or not assessed.
	Setting string `json:"setting"`
	// AnimalState: asleep, at_rest or excited; empty if not recorded or not assessed.
	AnimalState string `json:"animal_state"`
	// Value: code counted from 1, or reading times scale; below 0 not assessed (-1 not asked, -2
	// not possible, -3 declined, -4 stopped early).
	Value int `json:"value"`
	// Need: 1 needed, 0 not needed, -1 not verified.
	Need int8 `json:"need"`
	// Route: 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit.
	Route int8 `json:"route"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// Mature: whether outcomes had time to arrive.
	Mature bool `json:"mature"`
	// Stratum: the recorded properties beside the level.
	Stratum []string `json:"stratum"`
	// N: episodes.
	N int64 `json:"n"`
}

// ThresholdValues answers: How often was each value of one finding recorded, by where and in what state the
// animal was, and by need, route, advice and stratum? The accuracy of every threshold is a sum of
// these rows. One row per combination that occurs.
func (d *DB) ThresholdValues(ctx context.Context, s Scope, cut int, finding string) ([]ThresholdValuesRow, error) {
	args := with(with(s.args(), "cut", cut), "finding", finding)
	return ask(ctx, d, "threshold_values", names{finding: finding}, args, func(r *ThresholdValuesRow) []any {
		return []any{&r.Month, &r.Species, &r.Setting, &r.AnimalState, &r.Value, &r.Need, &r.Route, &r.Level, &r.Mature, (*stringList)(&r.Stratum), &r.N}
	})
}
