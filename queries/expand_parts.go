package queries

import (
	"fmt"
	"strings"
)

type codedSQL struct{ ID, Column string }

// coded lists the findings with words. Ids come from the dictionary, which
// allows small letters, digits and underscores only.
func (d *DB) coded() []codedSQL {
	var out []codedSQL
	for _, f := range d.meta.Findings {
		if !f.Numeric() {
			out = append(out, codedSQL{strings.ReplaceAll(f.ID, "'", ""), column(f.ID)})
		}
	}
	return out
}

// firedWords lists the columns of bits of the flags that fired.
func (d *DB) firedWords() string {
	var b strings.Builder
	for w := range (len(d.meta.Flags) + 63) / 64 {
		fmt.Fprintf(&b, ", fired_%d", w)
	}
	return b.String()
}

// asList makes a list of words of bits.
func asList(names []string) string { return "[" + strings.Join(names, ", ") + "]::UBIGINT[]" }

// fromList takes the words out of a list again, which is called words.
func fromList(names []string) string {
	var b strings.Builder
	for i, n := range names {
		fmt.Fprintf(&b, ", words[%d] AS %s", i+1, n)
	}
	return b.String()
}

// usual is a common table of the usual ranges of the dictionary in force. Ids
// and species are identifiers, as the dictionary's reader has checked.
func (d *DB) usual() string {
	var rows []string
	if d.meta.Dictionary != nil {
		for _, r := range d.meta.Dictionary.UsualRanges() {
			rows = append(rows, fmt.Sprintf("('%s', '%s', %v::DOUBLE, %v::DOUBLE)", r.Finding.ID, r.Species, r.Low, r.High))
		}
	}
	if len(rows) == 0 {
		rows = []string{"(NULL::VARCHAR, NULL::VARCHAR, NULL::DOUBLE, NULL::DOUBLE)"}
	}
	return "usual(finding, species, low, high) AS (VALUES " + strings.Join(rows, ", ") + ")"
}
