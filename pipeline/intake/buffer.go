package intake

import (
	"encoding/binary"
	"sync"

	"github.com/cespare/xxhash/v2"

	"hindcheck/pipeline/records"
)

// column collects the values of one record column until a row group is full.
// Exactly one of the slices is in use, by kind; its memory is used again for
// the next row group.
type column struct {
	records.Column
	uuid  []byte // 16 a row
	i64   []int64
	i32   []int32 // Int32, Date, and the words of Text
	i16   []int16
	f64   []float64
	b8    []uint8
	valid []uint8 // 1 where there is a value
	words *vocab
	// absent columns are null in every row; nothing is stored for them.
	absent bool
}

// grow makes room for n rows.
func (c *column) grow(n int) {
	if c.absent {
		return
	}
	c.valid = extend(c.valid, n)
	switch c.Kind {
	case records.UUID:
		c.uuid = extend(c.uuid, 16*n)
	case records.Time, records.Int64:
		c.i64 = extend(c.i64, n)
	case records.Text, records.Int32, records.Date:
		c.i32 = extend(c.i32, n)
	case records.Int16:
		c.i16 = extend(c.i16, n)
	case records.Float:
		c.f64 = extend(c.f64, n)
	case records.Boolean:
		c.b8 = extend(c.b8, n)
	}
}

// spare keeps the memory of columns from file to file, by the name of their table: a
// line has a hundred exports, and memory that is new is cleared and collected each time.
var spare sync.Map

// takeMemory gives columns the memory of some that are done with.
func takeMemory(t records.Table, columns []column) {
	pool, _ := spare.LoadOrStore(t.Name, &sync.Pool{})
	was, ok := pool.(*sync.Pool).Get().(*[]column)
	if !ok {
		return
	}
	for i := range columns {
		c, w := &columns[i], (*was)[i]
		c.uuid, c.i64, c.i32, c.i16, c.f64, c.b8, c.valid = w.uuid, w.i64, w.i32, w.i16, w.f64, w.b8, w.valid
	}
}

// giveMemory keeps the memory of columns for others of their table.
func giveMemory(t records.Table, columns []column) {
	if pool, ok := spare.Load(t.Name); ok {
		kept := make([]column, len(columns))
		for i, c := range columns {
			kept[i] = column{uuid: c.uuid, i64: c.i64, i32: c.i32, i16: c.i16, f64: c.f64, b8: c.b8, valid: c.valid}
		}
		pool.(*sync.Pool).Put(&kept)
	}
}

// extend returns s with room for n values, keeping what is there.
func extend[T any](s []T, n int) []T {
	if n <= len(s) {
		return s
	}
	grown := make([]T, n)
	copy(grown, s)
	return grown
}

// move copies n rows, from row from on, to row to and those behind it.
func (c *column) move(to, from, n int) {
	if !c.absent {
		c.copyFrom(c, to, from, n)
	}
}

// vocab is the dictionary of a text column.
type vocab struct {
	index  map[string]int32
	hashes []uint64
	page   []byte   // the words as a dictionary page holds them: length in four bytes, then the word
	base   []string // words that are there from the start
	begun  bool     // the dictionary was begun anew: earlier words are forgotten
}

func newVocab(base []string) *vocab {
	v := &vocab{base: base}
	v.reset()
	v.begun = false
	return v
}

// list returns the words; ok is false when some have been forgotten.
func (v *vocab) list() (words []string, ok bool) {
	for at := 0; at < len(v.page); {
		n := int(binary.LittleEndian.Uint32(v.page[at:]))
		words = append(words, string(v.page[at+4:at+4+n]))
		at += 4 + n
	}
	return words, !v.begun
}

func (v *vocab) reset() {
	v.begun = true
	v.index, v.hashes, v.page = map[string]int32{}, v.hashes[:0], v.page[:0]
	for _, w := range v.base {
		v.add([]byte(w))
	}
}

// add returns the number of a word.
func (v *vocab) add(word []byte) int32 {
	if i, ok := v.index[string(word)]; ok {
		return i
	}
	i := int32(len(v.hashes))
	v.index[string(word)] = i
	v.hashes = append(v.hashes, xxhash.Sum64(word))
	v.page = append(binary.LittleEndian.AppendUint32(v.page, uint32(len(word))), word...)
	return i
}

func (v *vocab) addString(word string) int32 {
	if i, ok := v.index[word]; ok {
		return i
	}
	return v.add([]byte(word))
}
