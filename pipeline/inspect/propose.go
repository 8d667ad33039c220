package inspect

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"hindcheck/pipeline/tabular"
)

// Proposal is how the file seems to be written, in the words of a source
// description. A person has to confirm it.
type Proposal struct {
	Kind string `json:"kind"`
	// Packed is gzip or zstd; it is undone without being mentioned in a
	// description.
	Packed    string `json:"packed,omitempty"`
	Encoding  string `json:"encoding,omitempty"`
	Delimiter string `json:"delimiter,omitempty"`
	Decimal   string `json:"decimal,omitempty"`
	// SkipRows are title rows before the row of column names.
	SkipRows int `json:"skip_rows,omitempty"`
	// Records is the path of keys to the list of records in JSON.
	Records string `json:"records,omitempty"`
	// Reasons say why, by the name of the field.
	Reasons map[string]string `json:"reasons"`
}

// text reports whether numbers are written with a decimal sign of the file's own.
func (p Proposal) text() bool { return p.Kind == "csv" || p.Kind == "tsv" }

func (p Proposal) format(columns []string) tabular.Format {
	f := tabular.Format{Kind: p.Kind, Encoding: p.Encoding, SkipRows: p.SkipRows, Records: p.Records, Columns: columns}
	if p.Delimiter != "" {
		f.Delimiter = p.Delimiter[0]
	}
	return f
}

// sampleBytes is how much of a text file decides the proposal.
const sampleBytes = 1 << 20

// propose looks at the first bytes of a file.
func propose(path string) (Proposal, error) {
	p := Proposal{Reasons: map[string]string{}}
	head, err := firstBytes(path)
	if err != nil {
		return p, err
	}
	switch {
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		p.Kind, p.Reasons["kind"] = "xlsx", "the file begins as a zip archive, which workbooks are"
		return p, nil
	case bytes.HasPrefix(head, []byte("PAR1")):
		p.Kind, p.Reasons["kind"] = "parquet", "the file begins with PAR1"
		return p, nil
	case bytes.HasPrefix(head, []byte{0x1f, 0x8b}):
		p.Packed = "gzip"
	case bytes.HasPrefix(head, []byte{0x28, 0xb5, 0x2f, 0xfd}):
		p.Packed = "zstd"
	}
	return p, p.sample(path)
}

func firstBytes(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, &tabular.Problem{File: path, Expected: "a file that can be read", Found: "none", Err: err}
	}
	defer f.Close()
	head := make([]byte, 8)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && err != io.EOF {
		return nil, &tabular.Problem{File: path, Expected: "a file that can be read", Found: "one that cannot", Err: err}
	}
	return head[:n], nil
}

// sample proposes encoding and form of a text file.
func (p *Proposal) sample(path string) error {
	data, err := p.readSample(path, "utf-8")
	if err != nil {
		return err
	}
	p.encoding(data)
	if p.Encoding != "utf-8" {
		if data, err = p.readSample(path, p.Encoding); err != nil {
			return err
		}
	}
	if len(tabular.Trim(data)) == 0 {
		return &tabular.Problem{File: path, Expected: "an export", Found: "an empty file", Remedy: "leave it out, or fetch it again"}
	}
	if p.json(data) {
		return nil
	}
	p.delimiter(data)
	return nil
}

func (p *Proposal) readSample(path, encoding string) ([]byte, error) {
	t, err := tabular.OpenText(path, encoding)
	if err != nil {
		return nil, err
	}
	defer t.Close()
	data, err := io.ReadAll(io.LimitReader(t, sampleBytes))
	if err != nil {
		return nil, &tabular.Problem{File: path, Expected: "whole data", Found: "damaged data", Remedy: "fetch the file again", Err: err}
	}
	return data, nil
}

// encoding tells UTF-16 by its zero bytes and UTF-8 by its form; what is
// neither is taken for the one-byte encoding of older systems.
func (p *Proposal) encoding(data []byte) {
	valid := data
	for range utf8.UTFMax - 1 { // the sample may end within a character
		if len(data) < sampleBytes || utf8.Valid(valid) {
			break
		}
		valid = valid[:len(valid)-1]
	}
	switch {
	case bytes.Count(data, []byte{0})*4 > len(data):
		p.Encoding, p.Reasons["encoding"] = "utf-16", "every other byte is zero"
	case utf8.Valid(valid):
		p.Encoding, p.Reasons["encoding"] = "utf-8", "all bytes looked at are UTF-8"
	default:
		p.Encoding, p.Reasons["encoding"] = "windows-1252", "some bytes are no UTF-8"
	}
}

// delimiters that are tried, the likeliest first.
const delimiters = ",;\t|"

// sampleRows is how many rows decide the delimiter.
const sampleRows = 500

// delimiter takes the character that cuts most rows into the same number of
// cells, and counts the title rows that have fewer.
func (p *Proposal) delimiter(data []byte) {
	p.Kind, p.Delimiter = "csv", ","
	p.Reasons["kind"] = "text that is no JSON"
	p.Reasons["delimiter"] = "no other character cuts the rows into cells"
	best := 0.0
	for _, d := range delimiters {
		width, share, skip := cut(data, d)
		// Width counts a little: two characters may both cut every row evenly.
		if score := share * (1 - 1/float64(width+1)); width > 1 && score > best {
			best, p.Delimiter, p.SkipRows = score, string(d), skip
			p.Reasons["delimiter"] = "it cuts the most rows into the same number of cells"
		}
	}
	if p.SkipRows > 0 {
		p.Reasons["skip_rows"] = "the rows before have fewer cells"
	}
	if p.Delimiter == "\t" {
		p.Kind, p.Delimiter = "tsv", ""
		p.Reasons["kind"] = p.Reasons["delimiter"] + ": the tab"
		delete(p.Reasons, "delimiter")
	}
}

// cut cuts the rows at d: the usual number of cells, the share of rows that
// have it, and the lines before the first that does.
func cut(data []byte, d rune) (width int, share float64, skip int) {
	r := csv.NewReader(bytes.NewReader(data))
	r.Comma, r.LazyQuotes, r.FieldsPerRecord, r.ReuseRecord = d, true, -1, true
	counts, rows := map[int]int{}, 0
	first := map[int]int64{} // where the first row of each width begins
	for rows < sampleRows {
		at := r.InputOffset()
		cells, err := r.Read()
		if err != nil {
			break
		}
		n := len(cells)
		for n > 1 && strings.TrimSpace(cells[n-1]) == "" && counts[len(cells)] == 0 {
			n-- // title rows are often padded with empty cells
		}
		if _, ok := first[n]; !ok {
			first[n] = at
		}
		counts[n]++
		rows++
	}
	for n, c := range counts {
		if c > counts[width] || c == counts[width] && n > width {
			width = n
		}
	}
	if rows == 0 {
		return 0, 0, 0
	}
	return width, float64(counts[width]) / float64(rows), titleRows(data, first, width)
}

// titleRows counts the lines before the row of column names: they have at most
// half its cells. A row of another width is no title but a broken row.
func titleRows(data []byte, first map[int]int64, width int) int {
	at := first[width]
	for n, where := range first {
		if where < at && n*2 > width {
			return 0
		}
	}
	return bytes.Count(data[:at], []byte{'\n'})
}
