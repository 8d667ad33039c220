package lanes

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/file"
)

// dictLane reads a column of words or small numbers. A dictionary of the file holds
// each once, and rows hold its place: taking the place, instead of the word and
// looking that up, is a third of the work. Other encodings are read by the library.
type dictLane[T any] struct {
	*laneOf[T, int32]
	unpack   func(dict []int32, data []byte) ([]int32, error) // appends what a dictionary holds
	optional bool
	plain    bool // the present row group has pages without a dictionary

	pages  file.PageReader
	dict   []int32 // the numbers, of words too
	left   int     // rows of the page that have not been read
	levels hybrid
	places hybrid
	spare  []int32
}

// differences are encodings that only the library reads.
var differences = []parquet.Encoding{parquet.Encodings.DeltaByteArray, parquet.Encodings.DeltaLengthByteArray, parquet.Encodings.DeltaBinaryPacked}

// byDictionary has a lane that was just added read places in dictionaries.
func byDictionary[T any](r *Reader, l *laneOf[T, int32], unpack func([]int32, []byte) ([]int32, error)) *Lane[int32] {
	if l.column >= 0 {
		optional := r.file.MetaData().Schema.Column(l.column).MaxDefinitionLevel() > 0
		r.lanes[len(r.lanes)-1] = &dictLane[T]{laneOf: l, unpack: unpack, optional: optional, spare: make([]int32, len(l.Values))}
	}
	return l.Lane
}

func (l *dictLane[T]) begin(g *file.RowGroupReader) error {
	meta, err := g.MetaData().ColumnChunk(l.column)
	if err != nil {
		return fmt.Errorf("column %q: %w", l.name, err)
	}
	encodings := meta.Encodings()
	l.plain = !meta.HasDictionaryPage() || slices.ContainsFunc(encodings, func(e parquet.Encoding) bool { return slices.Contains(differences, e) })
	if l.plain {
		return l.laneOf.begin(g)
	}
	l.left, l.dict = 0, l.dict[:0]
	if l.pages, err = g.GetColumnPageReader(l.column); err != nil {
		return fmt.Errorf("column %q: %w", l.name, err)
	}
	return nil
}

func (l *dictLane[T]) read(n int) error {
	if l.plain {
		return l.laneOf.read(n)
	}
	for at := 0; at < n; {
		if l.left == 0 {
			if err := l.nextPage(); err != nil {
				return fmt.Errorf("column %q: %w", l.name, err)
			}
			continue
		}
		m := min(l.left, n-at)
		if err := l.take(l.Values[at:at+m], l.Valid[at:at+m]); err != nil {
			return fmt.Errorf("column %q: %w", l.name, err)
		}
		at, l.left = at+m, l.left-m
	}
	return nil
}

// nextPage begins a page of rows, or reads the dictionary.
func (l *dictLane[T]) nextPage() error {
	if !l.pages.Next() {
		if err := l.pages.Err(); err != nil {
			return err
		}
		return io.ErrUnexpectedEOF
	}
	switch page := l.pages.Page().(type) {
	case *file.DictionaryPage:
		var err error
		l.dict, err = l.unpack(l.dict[:0], page.Data())
		return err
	case *file.DataPageV1:
		data := page.Data()
		var levels []byte
		if l.optional {
			if len(data) < 4 || int(binary.LittleEndian.Uint32(data)) > len(data)-4 {
				return io.ErrUnexpectedEOF
			}
			size := int(binary.LittleEndian.Uint32(data))
			levels, data = data[4:4+size], data[4+size:]
		}
		return l.beginPage(page, levels, data)
	case *file.DataPageV2:
		data, size := page.Data(), int(page.DefinitionLevelByteLen())
		if page.RepetitionLevelByteLen() != 0 || size > len(data) {
			return io.ErrUnexpectedEOF
		}
		return l.beginPage(page, data[:size], data[size:])
	}
	return nil
}

func (l *dictLane[T]) beginPage(page file.DataPage, levels, places []byte) (err error) {
	l.left = int(page.NumValues())
	if e := parquet.Encoding(page.Encoding()); e != parquet.Encodings.RLEDict && e != parquet.Encodings.PlainDict {
		return fmt.Errorf("%w: values as %s behind a dictionary", ErrUnwalkable, e)
	}
	if l.levels, err = newHybrid(levels, 1); err != nil {
		return err
	}
	if len(places) == 0 { // no row has a value
		l.places = hybrid{}
		return nil
	}
	l.places, err = newHybrid(places[1:], int(places[0]))
	return err
}

// unpackWords numbers the words of a dictionary.
func unpackWords(number func(word string) int32) func(dict []int32, data []byte) ([]int32, error) {
	return func(dict []int32, data []byte) ([]int32, error) {
		for len(data) > 0 {
			if len(data) < 4 || int(binary.LittleEndian.Uint32(data)) > len(data)-4 {
				return nil, io.ErrUnexpectedEOF
			}
			size := int(binary.LittleEndian.Uint32(data))
			dict = append(dict, number(string(data[4:4+size])))
			data = data[4+size:]
		}
		return dict, nil
	}
}

// unpackWhole takes the numbers of a dictionary.
func unpackWhole(dict []int32, data []byte) ([]int32, error) {
	for ; len(data) >= 4; data = data[4:] {
		dict = append(dict, int32(binary.LittleEndian.Uint32(data)))
	}
	return dict, nil
}

// take reads rows of the present page.
func (l *dictLane[T]) take(values []int32, valid []bool) error {
	n, all := len(values), true
	if l.optional {
		level, same, err := l.levels.run(n)
		if err != nil {
			return err
		}
		if all = same && level == 1; same {
			for i := range valid {
				valid[i] = all
			}
		}
		if same && !all {
			clear(values)
			return nil
		}
		if !same {
			if n, err = l.takeLevels(valid); err != nil {
				return err
			}
		}
	} else {
		for i := range valid {
			valid[i] = true
		}
	}
	places := l.spare[:n]
	if err := l.places.read(places); err != nil {
		return err
	}
	for _, p := range places {
		if int(p) >= len(l.dict) {
			return errors.New("a place behind the dictionary's end")
		}
	}
	if all {
		for i, p := range places {
			values[i] = l.dict[p]
		}
		return nil
	}
	k := 0
	for i, has := range valid {
		values[i] = 0
		if has {
			values[i] = l.dict[places[k]]
			k++
		}
	}
	return nil
}

// takeLevels reads which rows have a value, and returns how many.
func (l *dictLane[T]) takeLevels(valid []bool) (n int, err error) {
	levels := l.spare[:len(valid)]
	if err := l.levels.read(levels); err != nil {
		return 0, err
	}
	for i, level := range levels {
		valid[i] = level == 1
		n += int(level)
	}
	return n, nil
}
