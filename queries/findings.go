package queries

// Questions about findings and checks.

import (
	"context"
	"slices"
)

// FindingStatesRow is one row of FindingStates.
type FindingStatesRow struct {
	// Finding: position in the dictionary, from 0.
	Finding int `json:"finding"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// N: episodes.
	N int64 `json:"n"`
	// Assessed: episodes with a reading.
	Assessed int64 `json:"assessed"`
	// NotAsked: not asked, or no record of the check.
	NotAsked int64 `json:"not_asked"`
	// NotPossible: tried, could not be done.
	NotPossible int64 `json:"not_possible"`
	// Declined: declined or unsafe.
	Declined int64 `json:"declined"`
	// StoppedEarly: not asked because an emergency sign had ended the questions.
	StoppedEarly int64 `json:"stopped_early"`
}

// FindingStates answers: How often was each finding assessed, and why not, by what was advised? One row
// per finding and level.
func (d *DB) FindingStates(ctx context.Context, s Scope) ([]FindingStatesRow, error) {
	if w, err := d.walkCases(ctx, s); err != nil {
		return nil, err
	} else if w != nil {
		return w.states(len(d.meta.Findings)), nil
	}
	return ask(ctx, d, "finding_states", names{}, s.args(), func(r *FindingStatesRow) []any {
		return []any{&r.Finding, &r.Level, &r.N, &r.Assessed, &r.NotAsked, &r.NotPossible, &r.Declined, &r.StoppedEarly}
	})
}

// FindingValuesRow is one row of FindingValues.
type FindingValuesRow struct {
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
	// N: episodes.
	N int64 `json:"n"`
}

// FindingValues answers: How often was each value of one finding recorded, by need, route and advice? A
// ROC curve or a likelihood ratio by value is a sum of these rows. One row per value, need, route,
// level and maturity that occurs.
func (d *DB) FindingValues(ctx context.Context, s Scope, cut int, finding string) ([]FindingValuesRow, error) {
	return ask(ctx, d, "finding_values", names{finding: finding}, with(s.args(), "cut", cut), func(r *FindingValuesRow) []any {
		return []any{&r.Value, &r.Need, &r.Route, &r.Level, &r.Mature, &r.N}
	})
}

// FindingHeapingRow is one row of FindingHeaping.
type FindingHeapingRow struct {
	// Species: of the animal.
	Species string `json:"species"`
	// Readings: episodes with a reading.
	Readings int64 `json:"readings"`
	// Below: readings below the threshold.
	Below int64 `json:"below"`
	// Exact: readings exactly on it.
	Exact int64 `json:"exact"`
	// Above: readings above it.
	Above int64 `json:"above"`
	// Whole: readings at a multiple of the scale, that is whole numbers of the unit.
	Whole int64 `json:"whole"`
}

// FindingHeaping answers: How many readings of a numeric finding lie exactly on a threshold? Owners say
// "two seconds", so a rule that splits there rests on rounding. One row per species, most readings
// first.
func (d *DB) FindingHeaping(ctx context.Context, s Scope, finding string, threshold float64, scale int) ([]FindingHeapingRow, error) {
	at := slices.IndexFunc(d.meta.Findings, func(f Finding) bool { return f.ID == finding })
	if w, err := d.walkCases(ctx, s); err != nil {
		return nil, err
	} else if w != nil && at >= 0 && scale > 0 {
		return w.heaping(at, threshold, scale), nil
	}
	return ask(ctx, d, "finding_heaping", names{finding: finding}, with(with(s.args(), "threshold", threshold), "scale", scale), func(r *FindingHeapingRow) []any {
		return []any{&r.Species, &r.Readings, &r.Below, &r.Exact, &r.Above, &r.Whole}
	})
}

// CheckHandlingRow is one row of CheckHandling.
type CheckHandlingRow struct {
	// Finding: id of the finding.
	Finding string `json:"finding"`
	// Species: of the animal; empty if not recorded.
	Species string `json:"species"`
	// Handling: free, held, wrapped, refused; empty if not recorded.
	Handling string `json:"handling"`
	// State: done, not_possible, declined or not_asked.
	State string `json:"state"`
	// Reason: why it was not done; empty if not stated.
	Reason string `json:"reason"`
	// N: checks.
	N int64 `json:"n"`
}

// CheckHandling answers: How often was each check done, and why not, by species and by how the
// animal was handled? One row per finding, species, handling, state and reason.
func (d *DB) CheckHandling(ctx context.Context, s Scope) ([]CheckHandlingRow, error) {
	if w, err := d.walk(ctx, s); err != nil {
		return nil, err
	} else if w != nil {
		return w.handling(), nil
	}
	return byMonth(ctx, d, s, func(s Scope) ([]CheckHandlingRow, error) {
		return ask(ctx, d, "check_handling", names{}, s.args(), func(r *CheckHandlingRow) []any {
			return []any{&r.Finding, &r.Species, &r.Handling, &r.State, &r.Reason, &r.N}
		})
	}, sameHandling, func(into *CheckHandlingRow, row CheckHandlingRow) { into.N += row.N })
}

// FindingsRow is one row of Findings.
type FindingsRow struct {
	// Finding: id of the finding.
	Finding string `json:"finding"`
}

// Findings answers: Which columns does cases hold for findings? Names to use with the other questions. One
// row per finding.
func (d *DB) Findings(ctx context.Context) ([]FindingsRow, error) {
	return ask(ctx, d, "findings", names{}, map[string]any{}, func(r *FindingsRow) []any {
		return []any{&r.Finding}
	})
}

// ReadingPairsRow is one row of ReadingPairs.
type ReadingPairsRow struct {
	// Finding: id of the finding.
	Finding string `json:"finding"`
	// Comparable: whether the exam was in time and is known to have come before treatment.
	Comparable bool `json:"comparable"`
	// OwnerCode: the owner's word; empty for a number.
	OwnerCode string `json:"owner_code"`
	// VetCode: the vet's word; empty for a number.
	VetCode string `json:"vet_code"`
	// OwnerNumber: the owner's reading in the finding's unit, null for a code.
	OwnerNumber *float64 `json:"owner_number"`
	// VetNumber: the vet's reading in the finding's unit, null for a code.
	VetNumber *float64 `json:"vet_number"`
	// N: calls with this pair.
	N int64 `json:"n"`
}

// ReadingPairs answers: What did the owner read on the telephone, and what did the vet read of the
// same sign? Only exams within the stated hours and before treatment compare; otherwise the sign
// may have changed. One row per finding, comparability and pair of readings.
func (d *DB) ReadingPairs(ctx context.Context, s Scope, hours float64) ([]ReadingPairsRow, error) {
	if hours == ExamHours {
		if w, err := d.walk(ctx, s); err != nil {
			return nil, err
		} else if w != nil && !w.apart() {
			return w.pairs(), nil
		}
	}
	return byMonth(ctx, d, s, func(s Scope) ([]ReadingPairsRow, error) {
		return ask(ctx, d, "reading_pairs", names{}, with(s.args(), "hours", hours), func(r *ReadingPairsRow) []any {
			return []any{&r.Finding, &r.Comparable, &r.OwnerCode, &r.VetCode, &r.OwnerNumber, &r.VetNumber, &r.N}
		})
	}, samePair, addPair)
}
