package tabular

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"sync"
	"unicode/utf8"
)

// chunkSize is how much text goes to a worker at a time.
const chunkSize = 1 << 20

// maxRecord is the longest record for which the buffer grows.
const maxRecord = 16 << 20

// chunk is a stretch of whole records.
type chunk struct {
	buf      []byte
	firstRow int64
	quotes   bool // some quote in it
	nul      bool // some NUL byte in it
}

// csvReader cuts the text into chunks at record ends in one goroutine; the
// callers of Next take chunks and take them apart.
type csvReader struct {
	grammar
	path   string
	text   *textFile
	chunk  int // bytes read at a time
	header []string
	raw    []byte // the header record as it stands, to know it again
	slots  []int  // place of each file column in the selection, or the spare one
	ncols  int

	begin sync.Once
	full  chan *chunk
	stop  chan struct{}
	pool  sync.Pool
	tail  []byte // text read and not yet in a chunk
	last  bool   // the file has been read to its end
	row   int64  // number of the next record

	mu    sync.Mutex
	err   error
	notes [numNotes]int64
	hash  string
}

func openCSV(path string, f Format) (*csvReader, error) {
	r := &csvReader{path: path, full: make(chan *chunk, 1), stop: make(chan struct{}), row: 1, chunk: f.chunk}
	if r.chunk == 0 {
		r.chunk = chunkSize
	}
	r.delim, r.quote, r.quotes = f.Delimiter, f.Quote, !f.NoQuote
	if r.delim == 0 {
		r.delim = ','
		if f.Kind == "tsv" {
			r.delim = '\t'
		}
	}
	if r.quote == 0 {
		r.quote = '"'
	}
	text, err := openText(path, f.Encoding)
	if err != nil {
		return nil, err
	}
	r.text = text
	if text.marked {
		r.notes[noteMark] = 1
	}
	if err := r.readHeader(f.SkipRows); err != nil {
		text.Close()
		return nil, err
	}
	return r, nil
}

// more reads on until tail has grown or the file has ended.
func (r *csvReader) more(buf []byte) ([]byte, error) {
	for len(buf) < cap(buf) && !r.last {
		n, err := r.text.Read(buf[len(buf):cap(buf)])
		buf = buf[:len(buf)+n]
		if err == io.EOF {
			r.last = true
		} else if err != nil {
			return buf, &Problem{File: r.path, Row: r.row, Expected: "a whole file", Found: "damaged or cut-off data after this row", Remedy: "fetch the file again", Err: err}
		}
	}
	return buf, nil
}

// readHeader passes over title rows and blank lines and reads the header.
func (r *csvReader) readHeader(skip int) error {
	buf, err := r.more(make([]byte, 0, r.chunk))
	if err != nil {
		return err
	}
	for pos := 0; ; {
		if pos == len(buf) && r.last {
			return &Problem{File: r.path, Row: r.row, Expected: "a row of column names", Found: "the end of the file", Remedy: "check skip_rows, or leave the empty file out"}
		}
		x, ok := r.record(buf, pos, r.last)
		if !ok {
			if pos == 0 && len(buf) >= maxRecord {
				return r.tooLong()
			}
			grown := make([]byte, len(buf)-pos, 2*cap(buf))
			copy(grown, buf[pos:])
			if buf, err = r.more(grown); err != nil {
				return err
			}
			pos = 0
			continue
		}
		content := buf[pos:x.end]
		pos = x.next
		if x.flaw != sound && skip == 0 {
			b := r.broken(r.row, x.flaw, content)
			return &Problem{File: r.path, Row: r.row, Expected: b.Expected + " in the row of column names", Found: b.Found, Remedy: "check skip_rows, delimiter and quote"}
		}
		r.row++
		if skip > 0 {
			skip--
			r.notes[noteTitle]++
			continue
		}
		if r.blankRecord(content) {
			continue
		}
		r.setHeader(content)
		r.tail = append([]byte(nil), buf[pos:]...)
		return nil
	}
}

func (r *csvReader) setHeader(record []byte) {
	r.raw = append([]byte(nil), record...)
	double := string([]byte{r.quote, r.quote})
	r.cells(r.raw, func(cell []byte, quoted bool) {
		name := string(Trim(cell))
		if quoted {
			name = strings.ReplaceAll(name, double, double[:1])
		}
		r.header = append(r.header, name)
		if name != "" {
			r.named = len(r.header)
		}
	})
	r.width = len(r.header)
}

func (r *csvReader) tooLong() error {
	return &Problem{File: r.path, Row: r.row, Expected: "a line end within 16 MiB", Found: "none", Remedy: "check that the file is a text table"}
}

// Header implements Reader.
func (r *csvReader) Header() []string { return r.header }

// Select implements Reader.
func (r *csvReader) Select(columns []int) {
	r.ncols = len(columns)
	r.slots = make([]int, r.width)
	for i := range r.slots {
		r.slots[i] = r.ncols // the spare column takes what nobody wants
	}
	for i, c := range columns {
		r.slots[c] = i
	}
}

// split cuts the text into chunks until the file ends or Close is called.
func (r *csvReader) split() {
	defer close(r.full)
	buf := r.buffer(len(r.tail))
	buf = append(buf, r.tail...)
	r.tail = nil
	for {
		var err error
		if buf, err = r.more(buf); err != nil {
			r.fail(err)
			return
		}
		c := &chunk{buf: buf, firstRow: r.row, quotes: r.quotes && bytes.IndexByte(buf, r.quote) >= 0}
		cut, rows := r.cut(buf, c.quotes)
		if cut == 0 && !r.last {
			if len(buf) >= maxRecord {
				r.fail(r.tooLong())
				return
			}
			buf = append(make([]byte, 0, 2*cap(buf)), buf...)
			continue
		}
		rest := append(r.buffer(len(buf)-cut), buf[cut:]...)
		c.buf = buf[:cut]
		c.nul = bytes.IndexByte(c.buf, 0) >= 0
		r.row += rows
		if cut > 0 {
			select {
			case r.full <- c:
			case <-r.stop:
				return
			}
		}
		if r.last && len(rest) == 0 {
			break
		}
		buf = rest
	}
	hash := r.text.raw.sum()
	r.mu.Lock()
	r.hash = hash
	r.mu.Unlock()
}

// buffer returns an empty buffer with room for a chunk behind n bytes.
func (r *csvReader) buffer(n int) []byte {
	if b, ok := r.pool.Get().(*[]byte); ok && cap(*b) >= n+r.chunk/2 {
		return (*b)[:0]
	}
	return make([]byte, 0, n+r.chunk)
}

func (r *csvReader) fail(err error) {
	r.mu.Lock()
	r.err = err
	r.mu.Unlock()
}

// cut returns the end of the last whole record in buf and the number of
// records up to there.
func (r *csvReader) cut(buf []byte, quotes bool) (end int, rows int64) {
	if quotes {
		for end < len(buf) {
			x, ok := r.record(buf, end, r.last)
			if !ok {
				break
			}
			end = x.next
			rows++
		}
		return end, rows
	}
	cr := bytes.IndexByte(buf, '\r') >= 0
	if r.last {
		end = len(buf)
		if end > 0 && buf[end-1] != '\n' && buf[end-1] != '\r' {
			rows++
		}
	} else {
		end = bytes.LastIndexByte(buf, '\n') + 1
		// A CR as the last byte may be half of a CRLF.
		if k := bytes.LastIndexByte(buf[:max(len(buf)-1, 0)], '\r') + 1; cr && k > end {
			end = k
		}
	}
	rows += int64(bytes.Count(buf[:end], []byte{'\n'}))
	if cr {
		rows += loneCR(buf[:end])
	}
	return end, rows
}

// loneCR counts carriage returns that no line feed follows.
func loneCR(b []byte) (n int64) {
	for {
		i := bytes.IndexByte(b, '\r')
		if i < 0 {
			return n
		}
		if i+1 == len(b) || b[i+1] != '\n' {
			n++
		}
		b = b[i+1:]
	}
}

// Next implements Reader.
func (r *csvReader) Next(b *Batch) error {
	r.begin.Do(func() { go r.split() })
	if len(b.columns) != r.ncols+1 {
		b.columns = make([][]Span, r.ncols+1)
		for i := range b.columns {
			b.columns[i] = make([]Span, BatchRows)
		}
	}
	for {
		b.Rows, b.Broken = b.Rows[:0], b.Broken[:0]
		if b.chunk != nil && b.pos >= len(b.chunk.buf) {
			r.release(b)
		}
		if b.chunk == nil {
			c, ok := <-r.full
			if !ok {
				return r.ended()
			}
			b.chunk, b.pos, b.rowNo, b.Data = c, 0, c.firstRow, c.buf
			b.InvalidText = !utf8.Valid(c.buf)
		}
		if b.chunk.quotes || b.chunk.nul {
			r.fillQuoted(b)
		} else {
			r.fillPlain(b)
		}
		if len(b.Rows)+len(b.Broken) > 0 {
			return nil
		}
	}
}

func (r *csvReader) ended() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err != nil {
		return r.err
	}
	return io.EOF
}

// release gives the batch's chunk back and takes over its notes.
func (r *csvReader) release(b *Batch) {
	buf := b.chunk.buf[:0]
	b.chunk, b.Data = nil, nil
	r.pool.Put(&buf)
	r.mu.Lock()
	for i, n := range b.notes {
		r.notes[i] += n
	}
	r.mu.Unlock()
	b.notes = [numNotes]int64{}
}

// Notes implements Reader.
func (r *csvReader) Notes() map[string]int64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	m := map[string]int64{}
	for i, n := range r.notes {
		if n > 0 {
			m[noteNames[i]] = n
		}
	}
	return m
}

// ContentHash implements Reader.
func (r *csvReader) ContentHash() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.hash
}

// Close implements Reader.
func (r *csvReader) Close() error {
	select {
	case <-r.stop:
		return nil
	default:
	}
	close(r.stop)
	started := true
	r.begin.Do(func() { started = false })
	if started {
		for range r.full { // until the splitter has gone
		}
	}
	return r.text.Close()
}

// broken describes a flaw as a message does.
func (r *csvReader) broken(row int64, f flaw, record []byte) Broken {
	b := Broken{Row: row, Expected: fmt.Sprintf("%d cells", r.width), Remedy: "correct the row in the export, or leave it aside"}
	switch f {
	case openQuote:
		b.Expected, b.Found = "a closing quote", "a quote that is never closed, or whose row has the wrong number of cells"
	case afterQuote:
		b.Expected, b.Found = "a delimiter after the closing quote", "other text"
		b.Remedy = "double the quotes within quoted cells, or set file: quote: \"\" if the export does not quote"
	case longCell:
		b.Expected, b.Found = fmt.Sprintf("cells of at most %d bytes", MaxCell), fmt.Sprintf("a row of %d bytes", len(record))
	case nulByte:
		b.Expected, b.Found = "text", "a NUL byte in the row"
		b.Remedy = "export again: the file was damaged or not written to its end"
	default:
		n := 0
		r.cells(record, func([]byte, bool) { n++ })
		b.Found = fmt.Sprintf("%d cells", n)
		b.Remedy = "check the row: it may be cut off, or a cell may hold the delimiter without quotes"
	}
	return b
}
