package inspect

import (
	"math"
	"slices"

	"hindcheck/pipeline/source"
)

// Kind is what the cells of a column are.
type Kind string

// The kinds.
const (
	Empty   Kind = "empty"
	Whole   Kind = "whole number"
	Decimal Kind = "decimal"
	Unit    Kind = "number with unit"
	Date    Kind = "date"
	Clock   Kind = "time of day"
	Word    Kind = "word"
	Key     Kind = "key"
	Prose   Kind = "free text"
)

// MaxDistinct is how many different values of a column are counted exactly;
// above it their number is estimated and no value is shown.
const MaxDistinct = 1000

// mostly is the share of filled cells from which a column is of a kind: a few
// cells of any export are broken.
const mostly = 0.95

// Column is what one column holds.
type Column struct {
	// Place counts from 1.
	Place int    `json:"place"`
	Name  string `json:"name"`
	Kind  Kind   `json:"kind"`
	// Filled cells hold a value; Blank ones nothing but space; BlankWords are
	// words that usually stand for nothing, with their number.
	Filled     int64            `json:"filled"`
	Blank      int64            `json:"blank"`
	BlankWords map[string]int64 `json:"blank_words,omitempty"`
	// Other counts filled cells that are not of the kind.
	Other int64 `json:"other,omitempty"`
	// Distinct counts different filled values; Estimated says that there are
	// more than MaxDistinct and the number is within about 10 %.
	Distinct  int64 `json:"distinct"`
	Estimated bool  `json:"estimated,omitempty"`
	// Shortest and Longest are lengths in characters.
	Shortest int `json:"shortest"`
	Longest  int `json:"longest"`
	// Low and High bound numbers; nil where they are withheld or there are none.
	Low  *float64 `json:"low,omitempty"`
	High *float64 `json:"high,omitempty"`
	// Units are those that stand in the cells, in the spelling of a description.
	Units []string `json:"units,omitempty"`
	// Layouts are all that fit a column of dates. Where none fits every cell,
	// those that miss the fewest.
	Layouts []LayoutFit `json:"layouts,omitempty"`
	// Values are the words of a column of words, the most frequent first;
	// Withheld counts those that are not shown because they look like a
	// name, number or remark.
	Values   []Value `json:"values,omitempty"`
	Withheld int     `json:"withheld,omitempty"`
	// Personal says what kind of identifier the column seems to hold; its
	// values are never shown.
	Personal string `json:"personal,omitempty"`
}

// Value is one word and its number of cells.
type Value struct {
	Word  string `json:"word"`
	Count int64  `json:"count"`
}

// LayoutFit is a layout of dates in the form of a source description.
type LayoutFit struct {
	Layout string `json:"layout"`
	// Misfits are cells that do not follow it.
	Misfits int64 `json:"misfits"`
	// First and Last are the earliest and latest day under this layout.
	First string `json:"first"`
	Last  string `json:"last"`
}

// tally counts the cells of one column. Its memory is bounded.
type tally struct {
	filled, blank       int64
	blankWords          map[string]int64
	shortest, longest   int
	whole, comma, point int64 // numbers by their form
	clock, united       int64
	prose, looked       int64
	shapes              map[string]int64
	units               map[string]bool
	low, high           float64
	layouts             []layoutTally
	distinct            distinct
	looks               map[string]int64
	anyNumber           bool
}

func newTally() *tally {
	return &tally{blankWords: map[string]int64{}, shapes: map[string]int64{}, units: map[string]bool{}, looks: map[string]int64{},
		layouts: newLayouts(), distinct: newDistinct()}
}

// blankWords stand for nothing in most exports.
var blankWords = []string{"-", "--", "n/a", "N/A", "#N/A", "na", "NA", "null", "NULL", "."}

// maxShapes bounds the different shapes that are kept of a column.
const maxShapes = 64

// maxLooked is how many filled cells of a column are searched for identifiers.
// Values are only ever shown of columns with few of them, each looked at.
const maxLooked = 10000

// proseLength and proseWords are where a cell is taken for prose: codes and
// names of things are shorter.
const (
	proseLength = 48
	proseWords  = 5
)

func (t *tally) add(cell []byte) {
	if len(cell) == 0 {
		t.blank++
		return
	}
	if len(cell) <= 4 && slices.Contains(blankWords, string(cell)) {
		t.blankWords[string(cell)]++
		return
	}
	t.filled++
	n := runes(cell)
	if t.filled == 1 || n < t.shortest {
		t.shortest = n
	}
	t.longest = max(t.longest, n)
	t.distinct.add(cell)
	t.number(cell)
	t.dates(cell)
	if isClock(cell) {
		t.clock++
	}
	if n > proseLength || wordsIn(cell) >= proseWords {
		t.prose++
	}
	if s := shape(cell); len(t.shapes) < maxShapes || t.shapes[s] > 0 {
		t.shapes[s]++
	}
	if t.looked < maxLooked {
		t.looked++
		if what := looksLike(string(cell)); what != "" {
			t.looks[what]++
		}
	}
}

// number counts the cell if it is a number, alone or with a unit behind.
func (t *tally) number(cell []byte) {
	ok, sign := numeric(cell)
	if !ok {
		if u, ok := unitBehind(cell); ok {
			t.united++
			t.units[u] = true
		}
		return
	}
	decimal := byte('.')
	switch sign {
	case ',':
		t.comma++
		decimal = ','
	case '.':
		t.point++
	default:
		t.whole++
	}
	if v, ok := source.Decimal(cell, decimal); ok {
		if !t.anyNumber || v < t.low {
			t.low = v
		}
		if !t.anyNumber || v > t.high {
			t.high = v
		}
		t.anyNumber = true
	}
}

func (t *tally) dates(cell []byte) {
	for i := range t.layouts {
		t.layouts[i].add(cell)
	}
	if t.filled%256 == 0 || t.filled == 32 {
		t.layouts = slices.DeleteFunc(t.layouts, func(l layoutTally) bool { return l.misfits > 16+t.filled/10 })
	}
}

// column says what the tally found.
func (t *tally) column(place int, name string) Column {
	c := Column{Place: place, Name: name, Filled: t.filled, Blank: t.blank, BlankWords: t.blankWords, Shortest: t.shortest, Longest: t.longest}
	c.Distinct, c.Estimated = t.distinct.count()
	c.Kind, c.Other = t.kind(&c)
	if c.Kind == Unit {
		for u := range t.units {
			c.Units = append(c.Units, u)
		}
		slices.Sort(c.Units)
	}
	c.Personal = t.personal(name, &c)
	if c.Personal != "" {
		c.Layouts = nil
		return c
	}
	if (c.Kind == Whole || c.Kind == Decimal) && t.anyNumber {
		c.Low, c.High = &t.low, &t.high
	}
	if c.Kind == Word {
		c.Values, c.Withheld = t.distinct.words(t.filled)
	}
	return c
}

func (t *tally) kind(c *Column) (Kind, int64) {
	need := int64(math.Ceil(mostly * float64(t.filled)))
	numbers := t.whole + t.comma + t.point
	if t.filled == 0 {
		return Empty, 0
	}
	if fits := bestLayouts(t.layouts, t.filled, t.keep(c)); len(fits) > 0 {
		c.Layouts = fits
		return Date, fits[0].Misfits
	}
	switch {
	case t.clock >= need:
		return Clock, t.filled - t.clock
	case numbers >= need && t.comma+t.point > 0:
		return Decimal, t.filled - numbers
	case numbers >= need && t.numbersAreKeys(c):
		return Key, t.filled - numbers
	case numbers >= need:
		return Whole, t.filled - numbers
	case numbers+t.united >= need && t.united > 0:
		return Unit, t.filled - numbers - t.united
	case t.keyShaped(c):
		return Key, 0
	case t.prose*10 >= t.filled || t.prose > 0 && c.Distinct*2 > t.filled:
		return Prose, 0
	}
	return Word, 0
}

// keep says which layouts that are bare numbers may be proposed: a number of
// seconds or days only under a name that speaks of time.
func (t *tally) keep(c *Column) func(l *layoutTally) bool {
	timely := slices.ContainsFunc(nameWords(c.Name), func(w string) bool { return slices.Contains(timeHints, w) })
	return func(l *layoutTally) bool {
		if l.counts {
			return timely
		}
		return !l.bare || c.Distinct > 1 && t.longest == t.shortest
	}
}

// timeHints are words of the names of columns that hold times.
var timeHints = []string{"date", "time", "timestamp", "datetime", "at", "on", "day", "start", "started", "begin", "began", "end", "ended", "created", "updated", "modified",
	"recorded", "saved", "asked", "edited", "seen", "noted", "delivered", "arrived", "datum", "zeit", "beginn", "ende", "unix", "epoch"}

// numberHints are words of the names of columns whose numbers name something.
var numberHints = []string{"id", "key", "no", "nr", "number", "ref", "reference", "code", "case", "file", "owner", "animal", "patient", "client", "advisor"}

// numbersAreKeys tells a number that counts something from one that names
// something: the latter is long, and hardly repeats or is called a number.
func (t *tally) numbersAreKeys(c *Column) bool {
	called := slices.ContainsFunc(nameWords(c.Name), func(w string) bool { return slices.Contains(numberHints, w) })
	return t.high >= 1000 && (called || t.filled >= 20 && c.Distinct*10 >= t.filled*9)
}

// keyShaped tells keys from words: many values with digits that all look alike.
func (t *tally) keyShaped(c *Column) bool {
	if c.Distinct < 20 || t.longest > 40 {
		return false
	}
	sum := int64(0)
	for s, n := range t.shapes {
		if hasDigitShape(s) {
			sum += n
		}
	}
	return float64(sum) >= mostly*float64(t.filled)
}
