package queries

// Questions about readings outside the usual range of well animals.

import "context"

// UnusualReadingsRow is one row of UnusualReadings.
type UnusualReadingsRow struct {
	// Finding: id of a numeric finding.
	Finding string `json:"finding"`
	// Species: of the animal.
	Species string `json:"species"`
	// Observer: who looked; empty: not recorded.
	Observer string `json:"observer"`
	// Setting: home, car or clinic; empty: not recorded.
	Setting string `json:"setting"`
	// Low: lower end of the usual range, in the finding's unit.
	Low float64 `json:"low"`
	// High: its upper end.
	High float64 `json:"high"`
	// Readings: readings of all checks of the calls of that time, repeats included.
	Readings int64 `json:"readings"`
	// Below: readings below it.
	Below int64 `json:"below"`
	// Above: readings above it.
	Above int64 `json:"above"`
}

// UnusualReadings answers: How many readings lie outside the usual range of well animals of the species,
// by who looked and where? A range is of resting animals at home or as its source says; nothing is done to
// such readings. One row per finding, species, observer and setting with a usual range.
func (d *DB) UnusualReadings(ctx context.Context, s Scope) ([]UnusualReadingsRow, error) {
	return ask(ctx, d, "unusual_readings", names{}, s.args(), func(r *UnusualReadingsRow) []any {
		return []any{&r.Finding, &r.Species, &r.Observer, &r.Setting, &r.Low, &r.High, &r.Readings, &r.Below, &r.Above}
	})
}

// UnusualCallsRow is one row of UnusualCalls.
type UnusualCallsRow struct {
	// Finding: id of a numeric finding.
	Finding string `json:"finding"`
	// Species: of the animal.
	Species string `json:"species"`
	// Value: the reading in the finding's unit.
	Value float64 `json:"value"`
	// Low: lower end of the usual range.
	Low float64 `json:"low"`
	// High: its upper end.
	High float64 `json:"high"`
	// NumberGiven: the number as the export gave it, null none.
	NumberGiven *float64 `json:"number_given"`
	// UnitGiven: its unit, empty none.
	UnitGiven string `json:"unit_given"`
	// Count: what was counted, null none.
	Count *int `json:"count"`
	// WindowS: over how many seconds, null none.
	WindowS *int `json:"window_s"`
	// Observer: who looked; empty: not recorded.
	Observer string `json:"observer"`
	// Setting: home, car or clinic; empty: not recorded.
	Setting string `json:"setting"`
	// Call: pseudonym of the call; find it with ingest lookup.
	Call string `json:"call"`
}

// UnusualCalls answers: Which calls hold the readings furthest outside the usual range? A slip of counting
// or of units shows here first. One row per reading, the furthest first, at most most of them; distance is
// a share of the usual range.
func (d *DB) UnusualCalls(ctx context.Context, s Scope, most int) ([]UnusualCallsRow, error) {
	return ask(ctx, d, "unusual_calls", names{}, with(s.args(), "most", most), func(r *UnusualCallsRow) []any {
		return []any{&r.Finding, &r.Species, &r.Value, &r.Low, &r.High, &r.NumberGiven, &r.UnitGiven, &r.Count, &r.WindowS, &r.Observer, &r.Setting, &r.Call}
	})
}
