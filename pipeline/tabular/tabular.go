// Package tabular reads an export, whatever its file kind, as batches of
// cells.
//
// It knows bytes, rows and cells, not what they mean: mapping them to records
// is package intake's work. A reader never guesses: delimiter, encoding and
// kind are stated. A row that breaks the file's form is handed out as Broken
// with its row number and never takes a good row with it.
//
// Flow: Open -> Header -> Select the columns that are wanted -> Next from as
// many goroutines as one likes, each with its own Batch -> Close.
package tabular

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
)

// Format says how a file is to be read. The zero value of a field means its
// default.
type Format struct {
	Kind      string // csv (default), tsv, ndjson, json, xlsx, parquet
	Delimiter byte   // csv: default comma; tsv: tab
	Quote     byte   // csv, tsv: default double quote
	NoQuote   bool   // csv, tsv: quotes are ordinary characters
	Encoding  string // utf-8 (default), utf-16, windows-1252; a byte order mark overrides it
	SkipRows  int    // rows before the header
	Sheet     string // xlsx: name of the sheet; default the first
	Records   string // json: dotted path to the list of records; default the top

	// Columns are the names that the caller wants. Kinds of files in which a record
	// need not name all its columns (json, ndjson) show them as their header.
	Columns []string

	// In, if set, is read instead of the file, whose path is then only a name:
	// text and JSON alone, for workbooks and Parquet files are read from both ends.
	In io.Reader

	// Seen, if set, counts the bytes taken from a text file so far, packed as it
	// is. Workbooks and Parquet files are read out of order and not counted.
	Seen *atomic.Int64

	chunk int // text handed to a worker at a time; 0: chunkSize; set by tests
}

// MaxCell is the longest cell in bytes that is read. A longer one means a
// stray quote or a file that is no table; its row is broken.
const MaxCell = 64 << 10

// Reader hands out the rows of one file.
type Reader interface {
	// Header returns the column names in the order of the file, trimmed.
	Header() []string
	// Select says which columns (places in Header) Next fills, in which order.
	// It must be called once, before the first Next. A column may be selected
	// twice.
	Select(columns []int)
	// Next fills b with the next rows. It returns io.EOF when there are none
	// left, and a *Problem when the file cannot be read on. It may be called
	// from several goroutines, each with its own batch.
	Next(b *Batch) error
	// Notes returns what was passed over or put right, by name, once Next has
	// returned io.EOF: blank_rows, repeated_headers, no_final_newline, ...
	Notes() map[string]int64
	// ContentHash returns the SHA-256 of the file's bytes in hexadecimal, once
	// Next has returned io.EOF.
	ContentHash() string
	// Close stops reading and frees the file. It may be called at any time
	// when no Next is running.
	Close() error
}

// Form is what sort of cell the file gave. Text files know only TextCell.
type Form uint8

// The forms.
const (
	TextCell    Form = iota // characters, to be read as the description says
	NumberCell              // a number with a decimal point, whatever the description's decimal sign
	LocalCell               // a date and time without zone, 2006-01-02T15:04:05.999999
	InstantCell             // a date and time with zone, 2006-01-02T15:04:05.999999Z
	BoolCell                // true or false
)

// Span is one cell: where its bytes lie in the batch's Data.
type Span struct {
	Off uint32
	// sized holds the length and, in its upper bits, the form.
	sized uint32
}

const formShift = 28

func span(off, n int) Span { return Span{uint32(off), uint32(n)} }

func formSpan(off, n int, f Form) Span { return Span{uint32(off), uint32(n) | uint32(f)<<formShift} }

// Len returns the cell's length in bytes.
func (s Span) Len() int { return int(s.sized & (1<<formShift - 1)) }

// Form returns the cell's form.
func (s Span) Form() Form { return Form(s.sized >> formShift) }

// BatchRows is the most rows that a batch holds.
const BatchRows = 1024

// Batch is a stretch of rows. Its contents are valid until the next call of
// Next with it.
type Batch struct {
	// Data holds the bytes that spans point into.
	Data []byte
	// Rows holds the number of each row as a spreadsheet shows it, from 1.
	Rows []int64
	// Broken lists rows that have no cells because they break the file's form.
	Broken []Broken
	// InvalidText says that some cell may hold bytes that are not UTF-8.
	InvalidText bool

	columns [][]Span
	byCell  []*[BatchRows]Span // columns by the cells of a record
	place   []int
	arena   []byte // memory of Data where it is not that of the chunk
	seen    []bool // columns that some record named
	chunk   *chunk
	pos     int
	rowNo   int64
	notes   [numNotes]int64
}

// shape makes room for the given number of columns; place gives the column of
// each selected one.
func (b *Batch) shape(columns int, place []int) {
	b.place = place
	if len(b.columns) != columns {
		b.columns = make([][]Span, columns)
		for i := range b.columns {
			b.columns[i] = make([]Span, BatchRows)
		}
	}
}

// Column returns the cells of the i-th selected column, one a row.
func (b *Batch) Column(i int) []Span { return b.columns[b.place[i]][:len(b.Rows)] }

// Cell returns a cell's bytes.
func (b *Batch) Cell(s Span) []byte { return b.Data[s.Off : int(s.Off)+s.Len()] }

// Broken is a row that could not be taken apart.
type Broken struct {
	Row                     int64
	Expected, Found, Remedy string
}

// Problem is why a file cannot be read: which file, where, what was expected,
// what was found and what to do.
type Problem struct {
	File                    string
	Row                     int64  // 0: the whole file
	Column                  string // "" : no one column
	Expected, Found, Remedy string
	Err                     error // the cause underneath, if any
}

// Error gives the problem in one line.
func (p *Problem) Error() string {
	var b strings.Builder
	b.WriteString(filepath.Base(p.File))
	b.WriteString(": ")
	if p.Row > 0 {
		fmt.Fprintf(&b, "row %d", p.Row)
		if p.Column != "" {
			b.WriteString(", ")
		} else {
			b.WriteString(": ")
		}
	}
	if p.Column != "" {
		fmt.Fprintf(&b, "column %q: ", p.Column)
	}
	fmt.Fprintf(&b, "expected %s, found %s", p.Expected, p.Found)
	if p.Remedy != "" {
		b.WriteString("; " + p.Remedy)
	}
	if p.Err != nil {
		fmt.Fprintf(&b, " (%v)", p.Err)
	}
	return b.String()
}

// Unwrap returns the cause underneath.
func (p *Problem) Unwrap() error { return p.Err }

// note numbers what is passed over, so that counting costs no map.
type note int

const (
	noteBlank note = iota
	noteHeader
	noteNoFinal
	noteMark
	noteTitle
	numNotes
)

var noteNames = [numNotes]string{"blank_rows", "repeated_headers", "no_final_newline", "byte_order_mark_over_encoding", "title_rows"}

// Open opens a file. The error is a *Problem when the file is not what the
// format says.
func Open(path string, f Format) (Reader, error) {
	if f.In != nil && (f.Kind == "xlsx" || f.Kind == "parquet") {
		return nil, &Problem{File: path, Expected: "text or JSON", Found: "kind " + f.Kind, Remedy: "write it to a file and name that: such files are read from both ends"}
	}
	switch f.Kind {
	case "", "csv", "tsv":
		return openAs(openCSV(path, f))
	case "ndjson":
		return openAs(openLines(path, f))
	case "json":
		return openAs(openList(path, f))
	case "xlsx":
		return openAs(openXLSX(path, f))
	case "parquet":
		return openAs(openParquet(path))
	}
	return nil, &Problem{File: path, Expected: "file kind csv, tsv, ndjson, json, xlsx or parquet", Found: fmt.Sprintf("%q", f.Kind), Remedy: "put a known kind under file: kind: in the source description"}
}

// openAs keeps a nil reader from becoming an interface that is not nil.
func openAs[R Reader](r R, err error) (Reader, error) {
	if err != nil {
		return nil, err
	}
	return r, nil
}

// once lists selected columns without repeats, and the place of each selected
// one in that list.
func once(columns []int) (unique, place []int) {
	for _, c := range columns {
		i := slices.Index(unique, c)
		if i < 0 {
			i = len(unique)
			unique = append(unique, c)
		}
		place = append(place, i)
	}
	return unique, place
}
