package tabular

import (
	"bytes"
	"io"
	"sync"
	"unicode/utf8"
)

// chunkSize is how much text goes to a worker at a time.
const chunkSize = 1 << 20

// maxRecord is the longest record for which the buffer grows.
const maxRecord = 16 << 20

// spare are buffers for chunks that are done with, of whichever file.
var spare sync.Pool

// maxSpare is the largest buffer that is kept.
const maxSpare = 4 * chunkSize

// chunk is a stretch of whole records.
type chunk struct {
	room []byte // what buf lies in
	buf  []byte
	// ahead is buf with what was read behind it: whether a quote is ever closed, and
	// how, may stand in a later record, and must not rest on where a chunk ends.
	ahead    []byte
	firstRow int64
	quotes   bool // some quote in it
	nul      bool // some NUL byte in it
	cr       bool // some carriage return in it
}

// chunker cuts a text into chunks at record ends in one goroutine; the callers
// of next take chunks and take them apart. Its memory does not grow with the
// file: a chunk a worker, and two on the way.
type chunker struct {
	grammar
	path  string
	text  *textFile
	size  int // bytes read at a time
	ncols int // columns selected
	place []int
	// fill takes apart records of b's chunk from b.pos on, as many as fit.
	fill func(b *Batch)

	begin sync.Once
	full  chan *chunk
	stop  chan struct{}
	tail  []byte // text read and not yet in a chunk
	last  bool   // the file has been read to its end
	row   int64  // number of the next record

	mu    sync.Mutex
	err   error
	notes [numNotes]int64
	hash  string
}

// start opens the file.
func (r *chunker) start(path string, f Format) error {
	r.path, r.full, r.stop, r.row, r.size = path, make(chan *chunk, 1), make(chan struct{}), 1, f.chunk
	if r.size == 0 {
		r.size = chunkSize
	}
	text, err := openText(path, f)
	if err != nil {
		return err
	}
	r.text = text
	if text.size > 0 && text.size < int64(r.size) {
		r.size = int(text.size) + 1 // and the read that finds the end
	}
	if text.marked {
		r.notes[noteMark] = 1
	}
	return nil
}

// more reads on until tail has grown or the file has ended.
func (r *chunker) more(buf []byte) ([]byte, error) {
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

func (r *chunker) tooLong() error {
	return &Problem{File: r.path, Row: r.row, Expected: "a line end within 16 MiB", Found: "none", Remedy: "check that the file is a text table"}
}

// split cuts the text into chunks until the file ends or Close is called.
func (r *chunker) split() {
	defer close(r.full)
	room := r.tail // what becomes a spare in the end
	buf := room
	if cap(buf) <= r.size/2 {
		room, buf = r.buffer(r.tail)
	}
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
			room = append(make([]byte, 0, 2*cap(buf)), buf...)
			buf = room
			continue
		}
		c.room, c.buf, c.ahead = room, buf[:cut], buf
		var rest []byte
		if !r.last || cut < len(buf) {
			room, rest = r.buffer(buf[cut:])
		}
		c.nul, c.cr = bytes.IndexByte(c.buf, 0) >= 0, bytes.IndexByte(c.buf, '\r') >= 0
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

// buffer copies tail to a buffer with room for r.size bytes behind it, neither more
// nor less whatever spare it comes from: where chunks end is the file's affair.
func (r *chunker) buffer(tail []byte) (room, buf []byte) {
	const slack = 1 << 12 // so that it serves another, longer tail
	n := len(tail) + r.size
	if b, ok := spare.Get().(*[]byte); ok && cap(*b) >= n {
		room = *b
	} else {
		room = make([]byte, 0, n+slack)
	}
	return room, append(room[:0:n], tail...)
}

func (r *chunker) fail(err error) {
	r.mu.Lock()
	r.err = err
	r.mu.Unlock()
}

// cut returns the end of the last whole record in buf and the number of
// records up to there.
func (r *chunker) cut(buf []byte, quotes bool) (end int, rows int64) {
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
		if cr { // one as the last byte may be half of a CRLF
			end = max(end, bytes.LastIndexByte(buf[:max(len(buf)-1, 0)], '\r')+1)
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
func (r *chunker) Next(b *Batch) error {
	r.begin.Do(func() { go r.split() })
	b.shape(r.ncols+1, r.place)
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
		r.fill(b)
		if len(b.Rows)+len(b.Broken) > 0 {
			return nil
		}
	}
}

func (r *chunker) ended() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err != nil {
		return r.err
	}
	return io.EOF
}

// release gives the batch's chunk back and takes over its notes.
func (r *chunker) release(b *Batch) {
	buf := b.chunk.room[:0]
	b.chunk, b.Data = nil, nil
	if cap(buf) <= maxSpare {
		spare.Put(&buf)
	}
	r.mu.Lock()
	for i, n := range b.notes {
		r.notes[i] += n
	}
	r.mu.Unlock()
	b.notes = [numNotes]int64{}
}

// Notes implements Reader.
func (r *chunker) Notes() map[string]int64 {
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
func (r *chunker) ContentHash() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.hash
}

// Close implements Reader.
func (r *chunker) Close() error {
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
