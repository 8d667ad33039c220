package findings

import (
	"fmt"
	"math"
	"strings"

	"hindcheck/pipeline/codes"
)

// Encode returns the number under which a check is stored in `cases`: the place
// of its code, or its value times Scale to the nearest whole number (halves away
// from zero), or a negative number for the state in which it was not assessed.
//
// A done check without a usable reading (no number, a negative or impossible
// one, a word that is not on the list) counts as not asked: not assessed is
// never normal. number is NaN where the check has none; code is then the word.
func (f *Finding) Encode(state, reason string, number float64, code string) int32 {
	if state != "done" {
		return codes.NotAssessed(state, reason)
	}
	if f.Kind == Code {
		if p := f.Position(code); p > 0 {
			return p
		}
		return codes.NotAsked
	}
	if !(number >= 0 && number <= f.highest()) {
		return codes.NotAsked
	}
	return int32(math.Round(number * float64(f.Scale)))
}

// highest is the largest legal reading of any species.
func (f *Finding) highest() float64 {
	high := 0.0
	for _, r := range f.Hard {
		high = max(high, r.High)
	}
	return high
}

// SQL returns an expression with the same answer as Encode over the columns
// state, reason, value_number and value_code of `checks`. It holds only words
// that were checked as identifiers when the dictionary was read.
func (f *Finding) SQL() string {
	var b strings.Builder
	b.WriteString("CASE WHEN state = 'done' THEN ")
	if f.Kind == Code {
		b.WriteString("CASE value_code")
		for i, c := range f.Codes {
			fmt.Fprintf(&b, " WHEN '%s' THEN %d", c.ID, i+1)
		}
		fmt.Fprintf(&b, " ELSE %d END", codes.NotAsked)
	} else {
		// NaN sorts above every number in DuckDB, so the upper limit drops it too.
		fmt.Fprintf(&b, "CASE WHEN value_number >= 0 AND value_number <= %v THEN round(value_number * %d) ELSE %d END",
			f.highest(), f.Scale, codes.NotAsked)
	}
	fmt.Fprintf(&b, " WHEN state = 'not_possible' THEN %d WHEN state = 'declined' THEN %d", codes.NotPossible, codes.Declined)
	fmt.Fprintf(&b, " WHEN state = 'not_asked' AND reason = 'stopped_early' THEN %d ELSE %d END", codes.StoppedEarly, codes.NotAsked)
	return "CAST(" + b.String() + " AS " + f.SQLType() + ")"
}
