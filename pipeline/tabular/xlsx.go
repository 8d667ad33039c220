package tabular

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"
)

// bookReader reads one sheet of a workbook. Cells come as they are stored:
// numbers with a decimal point, dates as day numbers; see Serial.
type bookReader struct {
	sequence
	book  *excelize.File
	rows  *excelize.Rows
	row   int64
	named int
	cols  []int // the sheet's columns that are selected
	// From1904 says that the workbook counts days from 1904.
	from1904 bool
}

// Serial is a reader whose numbers in columns of times are day numbers of a
// spreadsheet.
type Serial interface {
	Reader
	// Date1904 says from which day they count.
	Date1904() bool
}

// Limits of what a workbook may unpack to, against files made to fill memory.
const (
	maxBook  = 8 << 30
	maxSheet = 64 << 20 // above it, sheets are unpacked to a temporary file
)

func openXLSX(path string, f Format) (*bookReader, error) {
	book, err := excelize.OpenFile(path, excelize.Options{RawCellValue: true, UnzipSizeLimit: maxBook, UnzipXMLSizeLimit: maxSheet})
	if err != nil {
		return nil, &Problem{File: path, Expected: "a workbook (xlsx)", Found: "a file that is none, or one with a password", Remedy: "save it as xlsx without a password, or set file: kind: csv", Err: err}
	}
	r := &bookReader{book: book, row: 0}
	r.path, r.pull = path, r.pullRows
	if err := r.open(f); err != nil {
		book.Close()
		return nil, err
	}
	return r, nil
}

func (r *bookReader) open(f Format) error {
	sheets := r.book.GetSheetList()
	sheet := f.Sheet
	if sheet == "" && len(sheets) > 0 {
		sheet = sheets[0]
	}
	if !slices.Contains(sheets, sheet) {
		return &Problem{File: r.path, Expected: fmt.Sprintf("a sheet %q", sheet), Found: "the sheets " + strings.Join(sheets, ", "), Remedy: "correct file: sheet: in the source description"}
	}
	if props, err := r.book.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		r.from1904 = *props.Date1904
	}
	rows, err := r.book.Rows(sheet)
	if err != nil {
		return &Problem{File: r.path, Expected: "a sheet that can be read", Found: "a damaged one", Remedy: "save the workbook again", Err: err}
	}
	r.rows = rows
	skip := f.SkipRows
	for {
		cells, err := r.next()
		switch {
		case err == io.EOF:
			return &Problem{File: r.path, Row: r.row, Expected: "a row of column names", Found: "the end of the sheet", Remedy: "check skip_rows and sheet"}
		case err != nil:
			return err
		case skip > 0:
			skip--
			r.notes[noteTitle]++
			continue
		case blankCells(cells):
			continue
		}
		for i, c := range cells {
			name := string(Trim([]byte(c)))
			r.header = append(r.header, name)
			if name != "" {
				r.named = i + 1
			}
		}
		return nil
	}
}

// next returns the cells of the next row, without trailing blanks.
func (r *bookReader) next() ([]string, error) {
	if !r.rows.Next() {
		if err := r.rows.Error(); err != nil {
			return nil, r.damaged(err)
		}
		return nil, io.EOF
	}
	r.row++
	cells, err := r.rows.Columns()
	if err != nil {
		return nil, r.damaged(err)
	}
	return cells, nil
}

func (r *bookReader) damaged(err error) error {
	return &Problem{File: r.path, Row: r.row, Expected: "a whole sheet", Found: "damaged data at or behind this row", Remedy: "save the workbook again", Err: err}
}

// Select implements Reader.
func (r *bookReader) Select(columns []int) {
	r.cols, r.place = once(columns)
	r.ncols = len(r.cols)
}

// Date1904 implements Serial.
func (r *bookReader) Date1904() bool { return r.from1904 }

func (r *bookReader) pullRows(b *Batch) error {
	for len(b.Rows) < BatchRows {
		cells, err := r.next()
		if err != nil {
			return err
		}
		switch {
		case blankCells(cells):
			r.notes[noteBlank]++
		case slices.EqualFunc(cells, r.header, func(c, h string) bool { return string(Trim([]byte(c))) == h }):
			r.notes[noteHeader]++
		case !blankCells(cells[min(len(cells), len(r.header)):]):
			b.Broken = append(b.Broken, Broken{Row: r.row, Expected: cellCount(len(r.header)), Found: cellCount(len(cells)),
				Remedy: "look at the row: a cell stands beside the table"})
		default:
			r.take(b, cells)
		}
	}
	return nil
}

func (r *bookReader) take(b *Batch, cells []string) {
	row := len(b.Rows)
	for i, c := range r.cols {
		cell := ""
		if c < len(cells) {
			cell = cells[c]
		}
		if len(cell) > MaxCell {
			b.Broken = append(b.Broken, Broken{Row: r.row, Expected: fmt.Sprintf("cells of at most %d bytes", MaxCell), Found: fmt.Sprintf("a cell of %d bytes", len(cell)), Remedy: "look at the row"})
			return
		}
		b.put(row, i, cell, numberForm(cell))
	}
	b.Rows = append(b.Rows, r.row)
}

// numberForm tells numbers as a workbook stores them from text. Digits that
// were typed as text look the same and mean the same.
func numberForm(cell string) Form {
	digits := false
	for i := range len(cell) {
		switch c := cell[i]; {
		case c >= '0' && c <= '9':
			digits = true
		case c == '.' || c == '-' && i == 0 || digits && (c == 'E' || c == '-' && (cell[i-1] == 'E') || c == '+' && cell[i-1] == 'E'):
		default:
			return TextCell
		}
	}
	if !digits {
		return TextCell
	}
	return NumberCell
}

func blankCells(cells []string) bool {
	return !slices.ContainsFunc(cells, func(c string) bool { return !blank([]byte(c)) })
}

// Close implements Reader.
func (r *bookReader) Close() error {
	err := r.rows.Close()
	if cerr := r.book.Close(); err == nil {
		err = cerr
	}
	return err
}
