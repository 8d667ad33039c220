// Package source reads the description of one export: which columns it has, in
// which words and units, and to which record columns they lead.
//
// A description is a YAML file, strict: an unknown key, a target word that is
// not on its list, a unit that does not fit, a column that must be filled and
// is not mapped are errors with line and column. Nothing is guessed; in
// particular the order of day and month is always stated.
//
// Read gives a Description that package intake carries out. The file
// source.schema.json beside this package lets editors complete and check a
// description while it is written (see Schema).
package source

import (
	"maps"
	"regexp"
	"slices"
	"time"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/records"
	"hindcheck/pipeline/tabular"
)

// Description is one checked source description.
type Description struct {
	// Path is where the file was read, for messages.
	Path string
	// Source names the feed, Table the record kind that its rows become.
	Source string
	Table  records.Table
	// Match is the pattern of file names, as path.Match reads it; "" for any.
	Match  string
	Format tabular.Format
	// Decimal is the decimal sign of text cells; Thousands the sign that
	// groups digits, 0 when there is none.
	Decimal, Thousands byte
	Exported           Exported
	// Zone is the zone of local times.
	Zone     *time.Location
	ZoneName string
	Overlap  Overlap
	Gap      Gap
	// Blanks are the words that stand for nothing; the empty cell always does.
	Blanks []string
	// Columns are the mapped columns in the order of the table.
	Columns []Column
	// Item and Reading are the columns of the long form of checks: the word of
	// the check and its answer. Items maps the word to a finding.
	Item, Reading *Column
	Items         map[string]Reading
	// Wide maps columns of the wide form of checks to findings.
	Wide []WideColumn
	// Hash identifies the description and the dictionary it was read with.
	Hash string
}

// Record returns the name of the record kind.
func (d *Description) Record() string { return d.Table.Name }

// ExportColumns names every column of the export that the description reads,
// each once; optional tells those that a file may lack.
func (d *Description) ExportColumns() (names []string, optional map[string]bool) {
	optional = map[string]bool{}
	add := func(name string, may bool) {
		if name == "" {
			return
		}
		if !slices.Contains(names, name) {
			names = append(names, name)
			optional[name] = may
		}
		optional[name] = optional[name] && may
	}
	for i := range d.Columns {
		c := &d.Columns[i]
		for _, alt := range c.From {
			for _, name := range alt {
				add(name, c.Optional || len(c.From) > 1)
			}
		}
		add(c.UnitFrom, c.Optional)
	}
	for _, c := range []*Column{d.Item, d.Reading} {
		if c != nil {
			add(c.From[0][0], c.Optional)
		}
	}
	for _, word := range slices.Sorted(maps.Keys(d.Items)) {
		add(d.Items[word].CountFrom, true)
		add(d.Items[word].WindowFrom, true)
	}
	for _, w := range d.Wide {
		add(w.Column, w.Optional)
		add(w.CountFrom, true)
		add(w.WindowFrom, true)
	}
	add(d.Exported.Column, false)
	return names, optional
}

// Exported says when an export was made: from the file's name, from a column,
// or (both empty) from the caller.
type Exported struct {
	FileName *regexp.Regexp // its first group is the date
	Column   string
	Layout   Layout
}

// Overlap says what becomes of a local time in the hour that is repeated when
// daylight saving ends.
type Overlap string

// The ways; all are counted.
const (
	Earlier      Overlap = "earlier"
	Later        Overlap = "later"
	OverlapAside Overlap = "set_aside"
)

// Gap says what becomes of a local time that daylight saving skips.
type Gap string

// The ways; both are counted.
const (
	ShiftForward Gap = "shift_forward"
	GapAside     Gap = "set_aside"
)

// Column maps export columns to one record column.
type Column struct {
	Target records.Column
	// From lists alternatives; the first that is not blank counts. Each is one
	// export column, or several that make a composite key.
	From [][]string
	// Pseudonym says that the cells of a key hold pseudonyms of this store
	// already, as a form that hindcheck wrote does.
	Pseudonym bool
	// Constant is the value of a column that does not come from the export, as
	// a stored word or number; HasConstant tells it from none.
	Constant    string
	HasConstant bool
	// Values maps the export's words, as written, to stored words; nil when
	// the cell is taken as it is.
	Values map[string]string
	Layout Layout
	// Convert turns the export's unit into the stored one.
	Unit    Unit
	Convert Conversion
	// UnitFrom names the column that states the unit, Units its words.
	UnitFrom string
	Units    map[string]Conversion
	// Optional columns may be missing from the file's header.
	Optional bool
	// Line is where the mapping stands, for messages.
	Line int
}

// Reading says how the answers of one check are read.
type Reading struct {
	Finding *findings.Finding
	// Words maps the export's words to codes; nil when they are the codes.
	Words map[string]string
	// Unit and Convert of a number, to the finding's unit. Counted numbers are
	// counts over the window in WindowFrom (seconds).
	Unit       Unit
	Convert    Conversion
	Counted    bool
	CountFrom  string // column of the count; "": the reading's own cell
	WindowFrom string
	// Also is a second unit, taken when the number lies in [AlsoLow, AlsoHigh]
	// and outside what is possible in the first; each use is counted.
	Also              *Unit
	AlsoConvert       Conversion
	AlsoLow, AlsoHigh float64
}

// WideColumn is one column of the wide form of checks.
type WideColumn struct {
	Column string
	Reading
	// SkipBlank: a blank cell gives no row; otherwise it is "not asked".
	SkipBlank bool
	Optional  bool
}

// ReadingColumn is the column of the answers in the long form of checks, "" in
// others.
func (d *Description) ReadingColumn() string {
	if d.Reading == nil {
		return ""
	}
	return d.Reading.From[0][0]
}

// WideLabels tells, for each column under which a reading of the wide form may
// be refused, the findings that it belongs to.
func (d *Description) WideLabels() map[string][]string {
	out := map[string][]string{}
	for _, w := range d.Wide {
		for _, column := range []string{w.Column, w.CountFrom, w.WindowFrom} {
			if column != "" && !slices.Contains(out[column], w.Finding.ID) {
				out[column] = append(out[column], w.Finding.ID)
			}
		}
	}
	return out
}
