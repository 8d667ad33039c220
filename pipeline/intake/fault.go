package intake

import (
	"fmt"
	"strings"
)

// reason numbers why a row is set aside, so that counting costs no map.
type reason uint8

const (
	noFault reason = iota
	brokenRow
	missingKey
	damagedKey
	badPseudonym
	missingValue
	badText
	tooLong
	unmappedWord
	unmappedCheck
	badDate
	implausibleDate
	futureDate
	ambiguousTime
	skippedTime
	endBeforeStart
	badNumber
	inexactNumber
	outOfRange
	unknownUnit
	blankReading
	stateConflict
	numReasons
)

// reasonNames are the words stored in the column reason of set_aside.
var reasonNames = [numReasons]string{"", "broken_row", "missing_key", "damaged_key", "bad_pseudonym", "missing_value", "bad_text", "too_long", "unmapped_word", "unmapped_check",
	"bad_date", "implausible_date", "future_date", "ambiguous_time", "skipped_time", "end_before_start", "bad_number", "inexact_number", "out_of_range",
	"unknown_unit", "blank_reading", "state_conflict"}

// Reasons lists every reason for which a row is set aside here, with what it
// means in plain words.
func Reasons() map[string]string {
	return map[string]string{
		"broken_row":       "the row does not have the form of the file: quotes, number of cells, damaged bytes",
		"missing_key":      "the key that tells the record apart is blank",
		"damaged_key":      "a spreadsheet has turned the key into a number with an exponent",
		"bad_pseudonym":    "the cell holds no pseudonym as hindcheck prints them",
		"missing_value":    "a value that every record needs is blank",
		"bad_text":         "the cell holds bytes that are no text in the stated encoding",
		"too_long":         "the cell holds a sentence or a telephone number and not a code: prose is never kept",
		"unmapped_word":    "the word is not in the description's table",
		"unmapped_check":   "the check is not among the description's items",
		"bad_date":         "the date or time does not follow the stated layout, or names a day that does not exist",
		"implausible_date": "the date lies before 1990",
		"future_date":      "the date lies more than a day after the export",
		"ambiguous_time":   "the local time occurs twice: daylight saving ended in that hour",
		"skipped_time":     "the local time does not exist: daylight saving began in that hour",
		"end_before_start": "the end lies before the start",
		"bad_number":       "the cell is not a number",
		"inexact_number":   "the cell is a range or a comparison, not one number",
		"out_of_range":     "the number cannot be true",
		"unknown_unit":     "the unit is not in the description, or measures something else",
		"blank_reading":    "the check is marked as done and has no reading",
		"state_conflict":   "the check has a reading and is marked as not done",
	}
}

// note numbers what is put right and counted.
type note int

const (
	noteAmbiguous note = iota
	noteSkipped
	noteUnitRepaired
	noteUnitInCell
	noteMidnight
	noteSeconds
	noteOtherHour
	numNotes
)

// Names of notes in Result.Notes.
const (
	NoteAmbiguous    = "ambiguous_local_time" // taken as the description's overlap says
	NoteSkipped      = "skipped_local_time"   // moved as the description's gap says
	NoteUnitRepaired = "repaired_unit"        // a number taken in the second unit of also
	NoteUnitInCell   = "unit_in_cell"         // a unit written behind the number
	NoteMidnight     = "midnight_24"          // 24:00 read as 0:00 of the next day
	NoteSeconds      = "seconds_differ"       // seconds missing, or there without being in the layout
	NoteOtherHour    = "other_repeated_hour"  // taken against the description's overlap, else the end lies before the start
)

var noteNames = [numNotes]string{NoteAmbiguous, NoteSkipped, NoteUnitRepaired, NoteUnitInCell, NoteMidnight, NoteSeconds, NoteOtherHour}

// Fault is one row set aside, as a message shows it. It never holds the cell.
type Fault struct {
	File   string
	Row    int64
	Column string // the export's column, "" when the whole row is at fault
	Reason string
	// Kind is what was found: "text of 12 characters".
	Kind, Expected, Remedy string
}

// String gives the fault in one line.
func (f Fault) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: row %d", f.File, f.Row)
	if f.Column != "" {
		fmt.Fprintf(&b, ", column %q", f.Column)
	}
	fmt.Fprintf(&b, ": expected %s, found %s", f.Expected, f.Kind)
	if f.Remedy != "" {
		b.WriteString("; " + f.Remedy)
	}
	return b.String()
}

// fault is a fault of the row at hand.
type fault struct {
	reason reason
	found  found
	size   int32
	at     *place
}

// place is what a mapper says about its column in messages.
type place struct {
	column, expected, remedy string
}

// advice replaces what a place expects and advises, where the reason says more
// than the column does. An empty text keeps the place's own.
var advice = [numReasons]struct{ expected, remedy string }{
	badPseudonym:    {"a pseudonym such as 6f1c2d3e-1b7a-4c55-9d1e-0a2b3c4d5e6f, as the form had it", "copy it from the form; a call number goes where the description says key"},
	damagedKey:      {"a key as the export wrote it", "format the column as text before a spreadsheet touches it; the digits that are gone cannot be had back"},
	missingValue:    {"", "fill it in the export, or look whether the column is the right one"},
	badText:         {"text in the stated encoding", "set file: encoding: to what the export is written in"},
	tooLong:         {"", "map its words under values; prose is never kept, since it may name people"},
	implausibleDate: {"a date from 1990 on", "look at the row in the export: such dates stand for none"},
	ambiguousTime:   {"a local time that occurs once", "say under overlap: which of the two is meant, or export times with their offset from UTC"},
	skippedTime:     {"a local time that exists", "set gap: shift_forward, or look at the clock of the export"},
	inexactNumber:   {"", "write one number: ranges and comparisons are not readings"},
	blankReading:    {"a reading, as the check is marked as done", "fill the reading or correct the state in the export"},
}

// found is what sort of value a cell held.
type found uint8

const (
	foundText found = iota
	foundNumber
	foundNothing
	foundTime
)

// describe says what was found, by kind and length.
func (f fault) describe() string {
	n := f.size
	plural := "s"
	if n == 1 {
		plural = ""
	}
	switch f.found {
	case foundNothing:
		return "nothing"
	case foundNumber:
		return fmt.Sprintf("a number of %d character%s", n, plural)
	case foundTime:
		return "a date or time"
	}
	return fmt.Sprintf("text of %d character%s", n, plural)
}

// classify looks at a cell for a message.
func classify(cell []byte) (found, int32) {
	if len(cell) == 0 {
		return foundNothing, 0
	}
	kind, n := foundNumber, int32(0)
	for _, c := range cell {
		if c&0xc0 != 0x80 {
			n++
		}
		if c-'0' > 9 && c != '.' && c != ',' && c != '-' {
			kind = foundText
		}
	}
	return kind, n
}
