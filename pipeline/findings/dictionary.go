// Package findings holds the dictionary of home checks: which findings exist,
// in which words or units they are recorded, which readings cannot be true, and
// the small integers under which they are stored.
//
// Default is the dictionary that every installation knows. A site adds its own
// findings, codes and ranges in a file that Load reads; nothing is ever removed
// or reordered, because the place of a code is on disk.
//
// The package decides no urgency: that is the rules file. Start reading at
// Dictionary and Finding, then Encode.
package findings

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// Kind is how a finding is recorded.
type Kind string

// The kinds.
const (
	Code   Kind = "code"   // one of a list of words
	Number Kind = "number" // a quantity in one unit
)

// Bad is the end of a number at which an animal is ill.
type Bad string

// The ends.
const (
	High Bad = "high"
	Low  Bad = "low"
	Both Bad = "both"
)

// AnySpecies is the key of a range for species without one of their own.
const AnySpecies = "any"

// MaxCodes is the longest list of codes: positions fit a 64-bit set.
const MaxCodes = 63

// Option is one word of a coded finding.
type Option struct {
	// ID is the stored word, Title how a page shows it.
	ID, Title string
	// Normal marks the words of a healthy animal.
	Normal bool
	// Unreadable marks a check that was made and could not be read; to every
	// rule the answer is unknown.
	Unreadable bool
}

// Range is an interval in the finding's unit, both ends included.
type Range struct {
	Low, High float64
	// Source is a short citation, or "common practice".
	Source string
}

// Near is a distance from a threshold that a repeated reading could bridge.
type Near struct {
	By float64
	// Source is a short citation, or "common practice".
	Source string
}

// Contains reports whether v lies in the range.
func (r Range) Contains(v float64) bool { return v >= r.Low && v <= r.High }

// Finding is one home check.
type Finding struct {
	// ID names the finding in rules, records and columns.
	ID string
	// Title is a plain name, Ask one sentence on how an owner does the check.
	Title, Ask string
	Kind       Kind
	// Codes are the words of a coded finding; the stored number is the place, from 1.
	Codes []Option
	// Unit and Scale of a number: stored is the whole number nearest to value*Scale.
	Unit  string
	Scale int
	// Hard ranges by species, or AnySpecies, which a number always has: a
	// reading outside is set aside.
	Hard map[string]Range
	// Usual ranges by species of animals that are well: a reading outside is
	// marked. A species may be missing.
	Usual map[string]Range
	// Near is how far below or above a threshold a number still counts as just
	// short of it, in the finding's unit; 0 is not stated. It decides no flag.
	Near Near
	// Bad is the end of a number that means illness.
	Bad Bad
	// SettingNote says what the place, the light or the handling does to it.
	SettingNote string
	// Source of the finding or its limits, as a short citation.
	Source string
}

// Dictionary is an ordered set of findings. It is not changed after reading.
type Dictionary struct {
	ID, Title string
	// Findings in order; the order is that of the columns f_<id> of `cases`.
	Findings []Finding
	index    map[string]int
}

// Finding returns the finding with the given id.
func (d *Dictionary) Finding(id string) (*Finding, bool) {
	i, ok := d.index[id]
	if !ok {
		return nil, false
	}
	return &d.Findings[i], true
}

// Index returns the place of a finding, from 0, or -1.
func (d *Dictionary) Index(id string) int {
	if i, ok := d.index[id]; ok {
		return i
	}
	return -1
}

// reindex rebuilds the index after findings were added.
func (d *Dictionary) reindex() {
	d.index = make(map[string]int, len(d.Findings))
	for i := range d.Findings {
		d.index[d.Findings[i].ID] = i
	}
}

// Column returns the finding's column in `cases`. The id has been checked when
// the dictionary was read, so the name is safe in SQL.
func (f *Finding) Column() string { return "f_" + f.ID }

// SQLType returns the type of the column: SMALLINT where every legal reading
// fits, else INTEGER.
func (f *Finding) SQLType() string {
	if f.MaxStored() > math.MaxInt16 {
		return "INTEGER"
	}
	return "SMALLINT"
}

// MaxStored returns the largest number that a legal reading is stored as.
func (f *Finding) MaxStored() int32 {
	if f.Kind == Code {
		return int32(len(f.Codes))
	}
	return int32(math.Round(f.highest() * float64(f.Scale)))
}

// HardRange returns the range outside which a reading of the species is set aside.
func (f *Finding) HardRange(species string) Range {
	if r, ok := f.Hard[species]; ok {
		return r
	}
	return f.Hard[AnySpecies]
}

// UsualRange returns the range of well animals of the species, if one is known.
func (f *Finding) UsualRange(species string) (Range, bool) {
	if r, ok := f.Usual[species]; ok {
		return r, true
	}
	r, ok := f.Usual[AnySpecies]
	return r, ok
}

// Position returns the stored number of a code, from 1, or 0 for an unknown word.
func (f *Finding) Position(code string) int32 {
	return int32(slices.IndexFunc(f.Codes, func(c Option) bool { return c.ID == code }) + 1)
}

// Option returns the code stored under a number.
func (f *Finding) Option(stored int32) (Option, bool) {
	if f.Kind != Code || stored < 1 || int(stored) > len(f.Codes) {
		return Option{}, false
	}
	return f.Codes[stored-1], true
}

// Value returns the reading of a number finding from its stored number.
func (f *Finding) Value(stored int32) float64 { return float64(stored) / float64(f.Scale) }

// FormatValue writes a stored number in the finding's unit with as many decimals
// as are stored: "2.5 s".
func (f *Finding) FormatValue(stored int32) string {
	decimals := 0
	for s := f.Scale; s >= 10; s /= 10 {
		decimals++
	}
	return fmt.Sprintf("%s %s", strconv.FormatFloat(f.Value(stored), 'f', decimals, 64), f.Unit)
}
