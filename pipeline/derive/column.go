package derive

import (
	"bytes"
	"encoding/binary"
	"math"
	"slices"

	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/metadata"
	"github.com/apache/arrow-go/v18/parquet/schema"

	"hindcheck/pipeline/lanes"
	"hindcheck/pipeline/pagefile"
)

// kind is how a column of cases is stored.
type kind uint8

const (
	keyKind   kind = iota // UUID
	wordKind              // VARCHAR
	tinyKind              // TINYINT
	smallKind             // SMALLINT
	wholeKind             // INTEGER
	bitsKind              // UBIGINT
	timeKind              // TIMESTAMP
	boolKind              // BOOLEAN
	floatKind             // DOUBLE
)

// kindOf returns the kind of a DuckDB type.
func kindOf(sqlType string) kind {
	return map[string]kind{"VARCHAR": wordKind, "TINYINT": tinyKind, "SMALLINT": smallKind, "INTEGER": wholeKind, "BOOLEAN": boolKind, "DOUBLE": floatKind}[sqlType]
}

// node is the column in a Parquet schema: what DuckDB itself would write.
func (k kind) node(name string) (schema.Node, error) {
	logical, physical, length := schema.LogicalType(schema.NoLogicalType{}), parquet.Types.Int32, -1
	switch k {
	case keyKind:
		logical, physical, length = schema.UUIDLogicalType{}, parquet.Types.FixedLenByteArray, 16
	case wordKind:
		logical, physical = schema.StringLogicalType{}, parquet.Types.ByteArray
	case tinyKind:
		logical = schema.NewIntLogicalType(8, true)
	case smallKind:
		logical = schema.NewIntLogicalType(16, true)
	case wholeKind:
		logical = schema.NewIntLogicalType(32, true)
	case bitsKind:
		logical, physical = schema.NewIntLogicalType(64, false), parquet.Types.Int64
	case timeKind:
		logical, physical = schema.NewTimestampLogicalType(false, schema.TimeUnitMicros), parquet.Types.Int64
	case boolKind:
		physical = parquet.Types.Boolean
	case floatKind:
		physical = parquet.Types.Double
	}
	return schema.NewPrimitiveNodeLogical(name, parquet.Repetitions.Optional, logical, physical, length, -1)
}

// column collects the values of one column until a row group is full. The slice
// in use goes by its kind; a missing value stands there as nought.
type column struct {
	name  string
	kind  kind
	valid []uint8 // 1 where there is a value; empty where every row has one
	keys  []byte  // 16 a row
	i16   []int16 // small numbers, and yes or no as 1 or 0
	i32   []int32 // whole numbers and numbers of words
	i64   []int64
	f64   []float64
	// twin, if above 0, is the number, counted from 1, of the column that always
	// holds the same; nothing is collected here then.
	twin int
}

func (c *column) reset() {
	c.valid, c.keys, c.i16, c.i32, c.i64, c.f64 = c.valid[:0], c.keys[:0], c.i16[:0], c.i32[:0], c.i64[:0], c.f64[:0]
}

// room makes room for n rows at once, since growing leaves old slices behind.
func (c *column) room(n int) {
	switch c.kind {
	case keyKind:
		c.keys = slices.Grow(c.keys, 16*n)
	case tinyKind, smallKind, boolKind:
		c.i16 = slices.Grow(c.i16, n)
	case wholeKind, wordKind:
		c.i32 = slices.Grow(c.i32, n)
	case bitsKind, timeKind:
		c.i64 = slices.Grow(c.i64, n)
	case floatKind:
		c.f64 = slices.Grow(c.f64, n)
	}
}

func (c *column) mark(ok bool) {
	v := uint8(0)
	if ok {
		v = 1
	}
	c.valid = append(c.valid, v)
}

// The values that every row has; a column takes either these or those below.

func (c *column) long(v int64) { c.i64 = append(c.i64, v) }

func (c *column) number(v int32) {
	if c.kind == wholeKind {
		c.i32 = append(c.i32, v)
		return
	}
	c.i16 = append(c.i16, int16(v))
}

func (c *column) yes(v bool) {
	n := int16(0)
	if v {
		n = 1
	}
	c.i16 = append(c.i16, n)
}

// Values that may be missing.

func (c *column) key(v lanes.Key, ok bool) { c.keys = append(c.keys, v[:]...); c.mark(ok) }
func (c *column) word(n int32)             { c.i32 = append(c.i32, max(n, 0)); c.mark(n != lanes.None) }
func (c *column) whole(v int32, ok bool) {
	c.number(v)
	c.mark(ok)
}

func (c *column) float(v float64, ok bool) {
	c.f64 = append(c.f64, v)
	c.mark(ok)
}

// press encodes columns; its memory is used again for each.
type press struct {
	page, dict []byte
	indices    []int32
	rank       []int32
	distinct   pagefile.Distinct
	stats      metadata.EncodedStatistics
}

// encode makes the page of n rows of a column.
func (p *press) encode(c *column, n int, words *lanes.Vocabulary) pagefile.Page {
	nulls := 0
	for _, v := range c.valid {
		nulls += 1 - int(v)
	}
	p.stats = metadata.EncodedStatistics{HasNullCount: true, NullCount: int64(nulls)}
	p.page = pagefile.AppendLevels(p.page[:0], c.valid, n, nulls)
	page := pagefile.Page{Encoding: parquet.Encodings.Plain, Words: -1, Stats: &p.stats}
	if nulls < n {
		if nulls > 0 {
			c.close()
		}
		switch c.kind {
		case keyKind:
			page.Encoding, page.Dict, page.Words = p.keys(c.keys)
		case wordKind:
			page.Encoding, page.Dict, page.Words = p.words(c.i32, words)
		case tinyKind, smallKind:
			page.Encoding, page.Dict, page.Words = numbers(p, c.i16)
		case wholeKind:
			page.Encoding, page.Dict, page.Words = numbers(p, c.i32)
		case boolKind:
			p.bools(c.i16)
		case bitsKind:
			page.Encoding, page.Dict, page.Words = p.few(c.i64)
		case floatKind:
			page.Encoding, page.Dict, page.Words = p.floats(c.f64)
		case timeKind:
			page.Encoding = parquet.Encodings.DeltaBinaryPacked
			p.page = pagefile.AppendDelta(p.page, c.i64, pagefile.Aligned)
			least, most := c.i64[0], c.i64[0]
			for _, v := range c.i64 {
				least, most = min(least, v), max(most, v)
			}
			p.range64(uint64(least), uint64(most), true)
		}
	}
	page.Data = p.page
	return page
}

// close takes out the rows without a value.
func (c *column) close() {
	c.keys = presentKeys(c.keys, c.valid)
	c.i16, c.i32, c.i64, c.f64 = present(c.i16, c.valid), present(c.i32, c.valid), present(c.i64, c.valid), present(c.f64, c.valid)
}

// present moves the values that there are together; of a slice that is not in use
// it leaves nothing.
func present[T any](values []T, valid []uint8) []T {
	if len(values) == 0 {
		return values
	}
	k := 0
	for i, v := range valid {
		values[k] = values[i]
		k += int(v)
	}
	return values[:k]
}

func presentKeys(keys []byte, valid []uint8) []byte {
	if len(keys) == 0 {
		return keys
	}
	k := 0
	for i, v := range valid {
		copy(keys[16*k:], keys[16*i:16*i+16])
		k += int(v)
	}
	return keys[:16*k]
}

func (p *press) bounds(least, most []byte, signed bool) {
	p.stats.HasMin, p.stats.HasMax, p.stats.Signed = true, true, signed
	p.stats.Min, p.stats.Max = bytes.Clone(least), bytes.Clone(most)
}

func (p *press) range64(least, most uint64, signed bool) {
	p.bounds(binary.LittleEndian.AppendUint64(nil, least), binary.LittleEndian.AppendUint64(nil, most), signed)
}

// mostSpan is the span of whole numbers that are numbered by a table.
const mostSpan = 1 << 16

// numbers encodes whole numbers by a dictionary in their order, unless they are
// too different.
func numbers[T int16 | int32](p *press, values []T) (parquet.Encoding, []byte, int) {
	least, most := values[0], values[0]
	for _, v := range values {
		least, most = min(least, v), max(most, v)
	}
	p.bounds(binary.LittleEndian.AppendUint32(nil, uint32(int32(least))), binary.LittleEndian.AppendUint32(nil, uint32(int32(most))), true)
	span := int64(most) - int64(least) + 1
	if span > mostSpan {
		for _, v := range values {
			p.page = binary.LittleEndian.AppendUint32(p.page, uint32(int32(v)))
		}
		return parquet.Encodings.Plain, nil, -1
	}
	p.rank = grown(p.rank, int(span))
	clear(p.rank)
	for _, v := range values {
		p.rank[int(v)-int(least)] = 1
	}
	p.dict = p.dict[:0]
	k := int32(0)
	for i, used := range p.rank {
		if used == 1 {
			p.rank[i] = k
			p.dict = binary.LittleEndian.AppendUint32(p.dict, uint32(int32(least)+int32(i)))
			k++
		}
	}
	p.indices = grown(p.indices, len(values))
	for i, v := range values {
		p.indices[i] = p.rank[int(v)-int(least)]
	}
	p.page = pagefile.AppendAligned(p.page, p.indices, int(k))
	return parquet.Encodings.RLEDict, p.dict, int(k)
}

// words encodes numbers of words by a dictionary of those that occur.
func (p *press) words(values []int32, all *lanes.Vocabulary) (parquet.Encoding, []byte, int) {
	p.rank = grown(p.rank, len(all.All))
	for i := range p.rank {
		p.rank[i] = lanes.None
	}
	p.dict, p.indices = p.dict[:0], grown(p.indices, len(values))
	k := int32(0)
	var least, most string
	for i, v := range values {
		if p.rank[v] == lanes.None {
			w := all.All[v]
			p.rank[v] = k
			if k == 0 {
				least, most = w, w
			}
			least, most = min(least, w), max(most, w)
			p.dict = append(binary.LittleEndian.AppendUint32(p.dict, uint32(len(w))), w...)
			k++
		}
		p.indices[i] = p.rank[v]
	}
	p.bounds([]byte(least), []byte(most), false)
	p.page = pagefile.AppendAligned(p.page, p.indices, int(k))
	return parquet.Encodings.RLEDict, p.dict, int(k)
}

func (p *press) bools(values []int16) {
	least, most := values[0], values[0]
	flags := make([]uint8, len(values))
	for i, v := range values {
		least, most = min(least, v), max(most, v)
		flags[i] = uint8(v)
	}
	p.bounds([]byte{byte(least)}, []byte{byte(most)}, false)
	p.page = pagefile.AppendBits(p.page, flags)
}

// few encodes words of bits by a dictionary, if there are few different ones.
func (p *press) few(values []int64) (parquet.Encoding, []byte, int) {
	least, most := uint64(values[0]), uint64(values[0])
	for _, v := range values {
		least, most = min(least, uint64(v)), max(most, uint64(v))
	}
	p.range64(least, most, false)
	return p.indexed(values)
}

func (p *press) indexed(values []int64) (parquet.Encoding, []byte, int) {
	p.distinct.Reset()
	p.indices = grown(p.indices, len(values))
	for i, v := range values {
		k, ok := p.distinct.Add(uint64(v))
		if !ok {
			for _, v := range values {
				p.page = binary.LittleEndian.AppendUint64(p.page, uint64(v))
			}
			return parquet.Encodings.Plain, nil, -1
		}
		p.indices[i] = k
	}
	p.dict = p.dict[:0]
	for _, v := range p.distinct.Values {
		p.dict = binary.LittleEndian.AppendUint64(p.dict, v)
	}
	p.page = pagefile.AppendAligned(p.page, p.indices, len(p.distinct.Values))
	return parquet.Encodings.RLEDict, p.dict, len(p.distinct.Values)
}

func (p *press) floats(values []float64) (parquet.Encoding, []byte, int) {
	least, most := values[0], values[0]
	bits := make([]int64, len(values))
	for i, v := range values {
		least, most = min(least, v), max(most, v)
		bits[i] = int64(math.Float64bits(v))
	}
	p.range64(math.Float64bits(least), math.Float64bits(most), true)
	return p.indexed(bits)
}

// keys encodes pseudonyms as they are, or by a dictionary if there are few. They
// are told apart by their first half; should two agree in it, there is none.
func (p *press) keys(values []byte) (parquet.Encoding, []byte, int) {
	n := len(values) / 16
	p.distinct.Reset()
	p.indices, p.dict = grown(p.indices, n), p.dict[:0]
	least, most := values[:16], values[:16]
	few := true
	for i := range n {
		v := values[16*i : 16*i+16]
		if bytes.Compare(v, least) < 0 {
			least = v
		} else if bytes.Compare(v, most) > 0 {
			most = v
		}
		if !few {
			continue
		}
		known := len(p.distinct.Values)
		k, ok := p.distinct.Add(binary.LittleEndian.Uint64(v))
		if ok && int(k) == known {
			p.dict = append(p.dict, v...)
		}
		few = ok && bytes.Equal(p.dict[16*k:16*k+16], v)
		p.indices[i] = k
	}
	p.bounds(least, most, false)
	if few && 2*len(p.distinct.Values) < n {
		p.page = pagefile.AppendAligned(p.page, p.indices, len(p.distinct.Values))
		return parquet.Encodings.RLEDict, p.dict, len(p.distinct.Values)
	}
	p.page = append(p.page, values...)
	return parquet.Encodings.Plain, nil, -1
}

// grown returns a slice of length n, in the memory of s if it is large enough.
func grown[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n, n+n/2)
	}
	return s[:n]
}
