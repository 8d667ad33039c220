package tabular

import (
	"bytes"
	"errors"
	"strings"
	"sync"

	"github.com/go-json-experiment/json/jsontext"
)

// Sparse is a reader of files in which a record need not name all its columns.
type Sparse interface {
	Reader
	// NeverSeen lists the wanted columns that no record named, once Next has
	// returned io.EOF. In a file without records it is empty.
	NeverSeen() []string
}

// fields finds wanted columns in JSON records: a name is a key, or a path of
// keys with dots between them.
type fields struct {
	child map[string]*fields
	slot  int // -1: no column ends here
}

func newFields(names []string, slots map[string]int) *fields {
	root := &fields{map[string]*fields{}, -1}
	for _, name := range names {
		slot, wanted := slots[name]
		if !wanted {
			continue
		}
		root.step(name).slot = slot // a key that holds dots itself
		at := root
		for _, key := range strings.Split(name, ".") {
			at = at.step(key)
		}
		at.slot = slot
	}
	return root
}

func (f *fields) step(key string) *fields {
	next := f.child[key]
	if next == nil {
		next = &fields{map[string]*fields{}, -1}
		f.child[key] = next
	}
	return next
}

// jsonRows puts JSON records into batches.
type jsonRows struct {
	header []string
	root   *fields
	ncols  int
	place  []int

	mu   sync.Mutex
	seen []bool
	any  bool
}

// Header implements Reader.
func (r *jsonRows) Header() []string { return r.header }

// choose says which columns are wanted.
func (r *jsonRows) choose(columns []int) {
	columns, r.place = once(columns)
	slots := map[string]int{}
	for i, c := range columns {
		slots[r.header[c]] = i
	}
	r.root, r.ncols, r.seen = newFields(r.header, slots), len(columns), make([]bool, len(columns))
}

// NeverSeen implements Sparse.
func (r *jsonRows) NeverSeen() (names []string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, name := range r.header {
		at := r.root
		for _, key := range strings.Split(name, ".") {
			at = at.step(key)
		}
		if r.any && at.slot >= 0 && !r.seen[at.slot] {
			names = append(names, name)
		}
	}
	return names
}

// note takes over which columns a batch has seen.
func (r *jsonRows) note(b *Batch) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.any = r.any || len(b.Rows) > 0
	for i := range r.seen {
		r.seen[i] = r.seen[i] || i < len(b.seen) && b.seen[i]
	}
}

var (
	errTwice  = errors.New("a key that stands twice")
	errNested = errors.New("a list or a group of keys where one value is wanted")
	errLong   = errors.New("a value that is too long")
	errShape  = errors.New("something else than an object")
)

// record reads one object into row of b.
func (r *jsonRows) record(d *jsontext.Decoder, b *Batch, row int) error {
	b.seen = append(b.seen[:0], make([]bool, r.ncols)...)
	for i := range r.ncols {
		b.columns[i][row] = Span{}
	}
	if d.PeekKind() != '{' {
		if err := d.SkipValue(); err != nil {
			return err
		}
		return errShape
	}
	return r.object(d, b, row, r.root)
}

// object reads an object below the place at. A fault that is none of the
// syntax is kept until the object has been read to its end.
func (r *jsonRows) object(d *jsontext.Decoder, b *Batch, row int, at *fields) (fault error) {
	if _, err := d.ReadToken(); err != nil {
		return err
	}
	for d.PeekKind() != '}' {
		name, err := d.ReadValue()
		if err != nil {
			return err
		}
		next := at.child[string(name[1:len(name)-1])] // makes no copy
		if bytes.IndexByte(name, '\\') >= 0 {
			plain, _ := jsontext.AppendUnquote(nil, name)
			next = at.child[string(plain)]
		}
		if next == nil {
			if err := d.SkipValue(); err != nil {
				return err
			}
			continue
		}
		err = r.value(d, b, row, next)
		if isSyntax(err) {
			return err
		}
		fault = errors.Join(fault, err)
	}
	if _, err := d.ReadToken(); err != nil {
		return err
	}
	return fault
}

func isSyntax(err error) bool {
	return err != nil && !errors.Is(err, errTwice) && !errors.Is(err, errNested) && !errors.Is(err, errLong) && !errors.Is(err, errShape)
}

// value reads one value at a wanted place.
func (r *jsonRows) value(d *jsontext.Decoder, b *Batch, row int, at *fields) error {
	kind := d.PeekKind()
	if kind == '{' && len(at.child) > 0 && at.slot < 0 {
		return r.object(d, b, row, at)
	}
	if kind == '{' || kind == '[' {
		if err := d.SkipValue(); err != nil {
			return err
		}
		if at.slot < 0 {
			return nil
		}
		return errNested
	}
	v, err := d.ReadValue()
	if err != nil || at.slot < 0 {
		return err
	}
	if b.seen[at.slot] {
		return errTwice
	}
	b.seen[at.slot] = true
	start, form := len(b.Data), TextCell
	switch kind {
	case 'n':
		return nil
	case 't', 'f':
		form = BoolCell
		b.Data = append(b.Data, v...)
	case '0':
		form = NumberCell
		b.Data = append(b.Data, v...)
	default:
		if b.Data, err = jsontext.AppendUnquote(b.Data, v); err != nil {
			return err
		}
	}
	n := len(b.Data) - start
	if n > MaxCell {
		b.Data = b.Data[:start]
		return errLong
	}
	b.columns[at.slot][row] = formSpan(start, n, form)
	return nil
}

// brokenRecord describes a record that cannot be used. What the decoder says
// is left out: it may quote the record.
func brokenRecord(row int64, err error) Broken {
	b := Broken{Row: row, Expected: "one JSON object with each key once and single values", Found: "a line that is no JSON", Remedy: "correct the record in the export, or leave it aside"}
	for _, e := range []error{errTwice, errNested, errLong, errShape} {
		if errors.Is(err, e) {
			b.Found = e.Error()
		}
	}
	return b
}
