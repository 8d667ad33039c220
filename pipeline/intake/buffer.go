package intake

import (
	"unsafe"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
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

// extend returns s with room for n values, keeping what is there.
func extend[T any](s []T, n int) []T {
	if n <= len(s) {
		return s
	}
	grown := make([]T, n)
	copy(grown, s)
	return grown
}

// move copies row from to row to.
func (c *column) move(to, from int) {
	if c.absent {
		return
	}
	c.valid[to] = c.valid[from]
	switch c.Kind {
	case records.UUID:
		copy(c.uuid[16*to:16*to+16], c.uuid[16*from:16*from+16])
	case records.Time, records.Int64:
		c.i64[to] = c.i64[from]
	case records.Text, records.Int32, records.Date:
		c.i32[to] = c.i32[from]
	case records.Int16:
		c.i16[to] = c.i16[from]
	case records.Float:
		c.f64[to] = c.f64[from]
	case records.Boolean:
		c.b8[to] = c.b8[from]
	}
}

// array shows the first n rows as an Arrow array, without copying. It is valid
// until the buffers are filled again.
func (c *column) array(n int) arrow.Array {
	bits := make([]byte, (n+7)/8)
	if c.absent {
		return c.nulls(n, bits)
	}
	nulls := pack(bits, c.valid[:n])
	var validity *memory.Buffer
	if nulls > 0 {
		validity = memory.NewBufferBytes(bits)
	}
	t := c.Kind.Arrow()
	var values []byte
	switch c.Kind {
	case records.UUID:
		values = c.uuid[:16*n]
	case records.Time, records.Int64:
		values = bytesOf(c.i64[:n])
	case records.Text, records.Int32, records.Date:
		values = bytesOf(c.i32[:n])
	case records.Int16:
		values = bytesOf(c.i16[:n])
	case records.Float:
		values = bytesOf(c.f64[:n])
	case records.Boolean:
		packed := make([]byte, (n+7)/8)
		pack(packed, c.b8[:n])
		values = packed
	}
	data := array.NewData(t, n, []*memory.Buffer{validity, memory.NewBufferBytes(values)}, nil, nulls, 0)
	if c.Kind == records.Text {
		data = array.NewDataWithDictionary(t, n, []*memory.Buffer{validity, memory.NewBufferBytes(values)}, nulls, 0, c.words.data())
	}
	return array.MakeFromData(data)
}

// nulls is an array without a value.
func (c *column) nulls(n int, bits []byte) arrow.Array {
	t, zero := c.Kind.Arrow(), memory.NewBufferBytes(make([]byte, 16*n))
	buffers := []*memory.Buffer{memory.NewBufferBytes(bits), zero}
	if c.Kind == records.Text {
		return array.MakeFromData(array.NewDataWithDictionary(t, n, buffers, n, 0, newVocab(nil).data()))
	}
	return array.MakeFromData(array.NewData(t, n, buffers, nil, n, 0))
}

// bytesOf shows a slice of numbers as bytes.
func bytesOf[T int16 | int32 | int64 | float64](s []T) []byte {
	var z T
	return unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(s))), len(s)*int(unsafe.Sizeof(z)))
}

// pack writes bytes of 0 and 1 as bits and returns how many were 0.
func pack(bits, flags []uint8) (zeros int) {
	for i := 0; i < len(flags); i += 8 {
		var b uint8
		for j, f := range flags[i:min(i+8, len(flags))] {
			b |= f << j
			zeros += int(1 - f)
		}
		bits[i/8] = b
	}
	return zeros
}

// vocab is the dictionary of a text column.
type vocab struct {
	index  map[string]int32
	hashes []uint64
	ends   []int32 // ends of the words in text; ends[0] is 0
	text   []byte
	base   []string // words that are there from the start
}

func newVocab(base []string) *vocab {
	v := &vocab{base: base}
	v.reset()
	return v
}

func (v *vocab) reset() {
	v.index, v.hashes, v.text, v.ends = map[string]int32{}, v.hashes[:0], nil, []int32{0}
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
	v.text = append(v.text, word...)
	v.ends = append(v.ends, int32(len(v.text)))
	return i
}

// data shows the words as an Arrow array.
func (v *vocab) data() *array.Data {
	n := len(v.hashes)
	return array.NewData(arrow.BinaryTypes.String, n, []*memory.Buffer{nil, memory.NewBufferBytes(bytesOf(v.ends)), memory.NewBufferBytes(v.text)}, nil, 0, 0)
}
