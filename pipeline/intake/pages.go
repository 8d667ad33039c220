package intake

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/bits"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/metadata"

	"hindcheck/pipeline/pagefile"
	"hindcheck/pipeline/records"
)

// content is how the values of a page are encoded, and the dictionary that they
// point into, if there is one.
type content struct {
	encoding parquet.Encoding
	dict     []byte
	words    int // entries of dict; -1: no dictionary
}

// pageOf encodes the first n rows of a column.
func (f *partFile) pageOf(columns []column, i, n int) pagefile.Page {
	c := &columns[i]
	nulls := c.nulls(n)
	if twin := f.twin(columns, i, n); twin > 0 && nulls == 0 {
		stats := &metadata.EncodedStatistics{Signed: true}
		return pagefile.Page{Twin: twin, Stats: stats.SetNullCount(0)}
	}
	f.page = f.page[:0]
	if !c.Required {
		f.page = pagefile.AppendLevels(f.page, c.valid, n, nulls)
	}
	body := content{parquet.Encodings.Plain, nil, -1}
	if nulls < n {
		body = f.encode(c, n, nulls)
	}
	page := pagefile.Page{Data: f.page, Encoding: body.encoding, Dict: body.dict, Words: body.words}
	if f.stored {
		page.Stats = &metadata.EncodedStatistics{Signed: true}
		page.Stats.SetNullCount(int64(nulls))
		if nulls < n {
			if low, high := c.limits(n); low != nil {
				page.Stats.SetMin(low).SetMax(high)
			}
		}
	}
	return page
}

// twin is the number, counted from 1, of an earlier column that holds the same in
// each of n rows, none of which is null: the call of a call that is its own episode.
func (f *partFile) twin(columns []column, i, n int) int {
	if !f.stored || columns[i].Name != "episode" {
		return 0
	}
	call := f.table.Index("call")
	if bytes.Equal(columns[i].uuid[:16*n], columns[call].uuid[:16*n]) {
		return call + 1
	}
	return 0
}

// nulls counts the rows without a value.
func (c *column) nulls(n int) int {
	if c.absent {
		return n
	}
	if c.Required {
		return 0
	}
	sum := 0
	for _, v := range c.valid[:n] {
		sum += int(v)
	}
	return n - sum
}

// encode appends the values, without gaps, to the page.
func (f *partFile) encode(c *column, n, nulls int) content {
	switch c.Kind {
	case records.UUID:
		return f.keys(c, n, nulls)
	case records.Text:
		f.indices = dense(f.indices, c.i32, c.valid, n, nulls)
		f.numbers(len(c.words.hashes))
		return content{parquet.Encodings.RLEDict, c.words.page, len(c.words.hashes)}
	case records.Boolean:
		f.page = pagefile.AppendBits(f.page, dense(nil, c.b8, c.valid, n, nulls))
		return content{parquet.Encodings.Plain, nil, -1}
	case records.Float:
		return few(f, c.f64, c, n, nulls, math.Float64bits, func(dst []byte, v float64) []byte {
			return binary.LittleEndian.AppendUint64(dst, math.Float64bits(v))
		})
	case records.Int32, records.Date:
		if c.Name == records.RowHash { // no two are alike
			f.page = append(f.page, arrow.Int32Traits.CastToBytes(c.i32[:n])...)
			return content{parquet.Encodings.Plain, nil, -1}
		}
		return few(f, c.i32, c, n, nulls, func(v int32) uint64 { return uint64(uint32(v)) }, func(dst []byte, v int32) []byte {
			return binary.LittleEndian.AppendUint32(dst, uint32(v))
		})
	case records.Int16:
		return few(f, c.i16, c, n, nulls, func(v int16) uint64 { return uint64(uint32(int32(v))) }, func(dst []byte, v int16) []byte {
			return binary.LittleEndian.AppendUint32(dst, uint32(int32(v)))
		})
	}
	return f.whole(c, n, nulls)
}

// few encodes numbers by a dictionary when there are few different ones, else
// as they are.
func few[T any](f *partFile, values []T, c *column, n, nulls int, key func(T) uint64, put func([]byte, T) []byte) content {
	f.distinct.Reset()
	f.indices = f.indices[:0]
	start := len(f.page)
	dict := []byte(nil)
	for i, v := range values[:n] {
		if nulls > 0 && c.valid[i] == 0 {
			continue
		}
		known := len(f.distinct.Values)
		k, ok := f.distinct.Add(key(v))
		if !ok {
			f.page = f.page[:start]
			for j, v := range values[:n] {
				if nulls == 0 || c.valid[j] == 1 {
					f.page = put(f.page, v)
				}
			}
			return content{parquet.Encodings.Plain, nil, -1}
		}
		if int(k) == known {
			dict = put(dict, v)
		}
		f.indices = append(f.indices, k)
	}
	f.numbers(len(f.distinct.Values))
	return content{parquet.Encodings.RLEDict, dict, len(f.distinct.Values)}
}

// numbers appends the indices of words to the page.
func (f *partFile) numbers(words int) {
	if f.stored { // and compressed
		f.page = pagefile.AppendAligned(f.page, f.indices, words)
	} else {
		f.page = pagefile.AppendIndices(f.page, f.indices, words)
	}
}

// whole encodes 64-bit numbers: one that stands in every row as a dictionary
// of one, others as differences.
func (f *partFile) whole(c *column, n, nulls int) content {
	f.i64 = dense(f.i64, c.i64, c.valid, n, nulls)
	if pagefile.Constant(f.i64) {
		f.indices = append(f.indices[:0], make([]int32, len(f.i64))...)
		f.page = pagefile.AppendIndices(f.page, f.indices, 1)
		return content{parquet.Encodings.RLEDict, binary.LittleEndian.AppendUint64(nil, uint64(f.i64[0])), 1}
	}
	if f.stored {
		return f.times()
	}
	f.page = pagefile.AppendDelta(f.page, f.i64, pagefile.Small)
	return content{parquet.Encodings.DeltaBinaryPacked, nil, -1}
}

// times encodes whole numbers in a file that stays: by a dictionary where there
// are few (times of exports), else as differences.
func (f *partFile) times() content {
	f.distinct.Reset()
	f.indices = f.indices[:0]
	for _, v := range f.i64 {
		k, ok := f.distinct.Add(uint64(v))
		if !ok {
			f.page = pagefile.AppendDelta(f.page, f.i64, pagefile.Aligned)
			return content{parquet.Encodings.DeltaBinaryPacked, nil, -1}
		}
		f.indices = append(f.indices, k)
	}
	var dict []byte
	for _, v := range f.distinct.Values {
		dict = binary.LittleEndian.AppendUint64(dict, v)
	}
	f.numbers(len(f.distinct.Values))
	return content{parquet.Encodings.RLEDict, dict, len(f.distinct.Values)}
}

// keys encodes pseudonyms: as they are; or, where the same one stands in rows
// that follow each other (checks of a call), by a dictionary of the changes; or,
// where there are few (advisors), by a dictionary.
func (f *partFile) keys(c *column, n, nulls int) content {
	keys := f.denseKeys(c, n, nulls)
	m := len(keys) / 16
	f.indices = extend(f.indices[:cap(f.indices)], m)[:m]
	changes := 0
	var was key
	for i := range f.indices {
		if id := keyAt(keys, i); id != was || i == 0 {
			changes, was = changes+1, id
		}
		f.indices[i] = int32(changes - 1)
	}
	if 2*changes > m {
		if f.stored || c.Name != "call" { // of calls there are never few, and a staged file need not be small
			if body, ok := f.fewKeys(keys); ok {
				return body
			}
		}
		if body, ok := f.repeatedKeys(c.Name, keys); ok {
			return body
		}
		f.page = append(f.page, keys...)
		return content{parquet.Encodings.Plain, nil, -1}
	}
	dict := make([]byte, 0, 16*changes)
	for i, k := range f.indices {
		if 16*int(k) == len(dict) {
			dict = append(dict, keys[16*i:16*i+16]...)
		}
	}
	if f.stored {
		f.page = pagefile.AppendRuns(f.page, f.indices, changes)
	} else {
		f.page = pagefile.AppendIndices(f.page, f.indices, changes)
	}
	return content{parquet.Encodings.RLEDict, dict, changes}
}

// key is a pseudonym in a form that is quick to compare.
type key [2]uint64

func keyAt(keys []byte, i int) key {
	b := keys[16*i : 16*i+16]
	return key{binary.LittleEndian.Uint64(b), binary.LittleEndian.Uint64(b[8:])}
}

// repeatedKeys encodes keys of a file that stays by a dictionary where that is
// shorter, because a good part of them (animals, owners) stands in several rows.
func (f *partFile) repeatedKeys(name string, keys []byte) (content, bool) {
	n := len(keys) / 16
	if !f.stored || name == "call" {
		return content{}, false
	}
	size := 2 << bits.Len(uint(n))
	f.slots = extend(f.slots, size)
	clear(f.slots[:size])
	f.indices = f.indices[:0]
	var dict []byte
	for i := 0; i < len(keys); i += 16 {
		key := keys[i : i+16]
		at := int(binary.LittleEndian.Uint64(key)) & (size - 1)
		for f.slots[at] != 0 && string(dict[16*(f.slots[at]-1):16*f.slots[at]]) != string(key) {
			at = (at + 1) & (size - 1)
		}
		if f.slots[at] == 0 {
			dict = append(dict, key...)
			f.slots[at] = int32(len(dict) / 16)
		}
		f.indices = append(f.indices, f.slots[at]-1)
	}
	words := len(dict) / 16
	if len(dict)+n*bits.Len(uint(words))/8 >= len(keys) {
		return content{}, false
	}
	f.page = pagefile.AppendIndices(f.page, f.indices, words)
	return content{parquet.Encodings.RLEDict, dict, words}, true
}

// fewKeys encodes keys of which there are at most pagefile.MaxDistinct. They are told
// apart by their first half; should two agree in it, there is no dictionary.
func (f *partFile) fewKeys(keys []byte) (content, bool) {
	f.distinct.Reset()
	f.indices = f.indices[:0]
	var dict []byte
	for i := 0; i < len(keys); i += 16 {
		known := len(f.distinct.Values)
		k, ok := f.distinct.Add(binary.LittleEndian.Uint64(keys[i:]))
		if !ok {
			return content{}, false
		}
		if int(k) == known {
			dict = append(dict, keys[i:i+16]...)
		} else if string(dict[16*k:16*k+16]) != string(keys[i:i+16]) {
			return content{}, false
		}
		f.indices = append(f.indices, k)
	}
	f.page = pagefile.AppendIndices(f.page, f.indices, len(f.distinct.Values))
	return content{parquet.Encodings.RLEDict, dict, len(f.distinct.Values)}, true
}

// denseKeys returns the keys without gaps; without nulls it copies nothing.
func (f *partFile) denseKeys(c *column, n, nulls int) []byte {
	if nulls == 0 {
		return c.uuid[:16*n]
	}
	f.uuids = f.uuids[:0]
	for i := range n {
		if c.valid[i] == 1 {
			f.uuids = append(f.uuids, c.uuid[16*i:16*i+16]...)
		}
	}
	return f.uuids
}

// dense returns the values without gaps, in scratch where there are any.
func dense[T any](scratch, values []T, valid []uint8, n, nulls int) []T {
	if nulls == 0 {
		return append(scratch[:0], values[:n]...)
	}
	scratch = extend(scratch[:cap(scratch)], n)
	k := 0
	for i, v := range values[:n] {
		scratch[k] = v
		k += int(valid[i])
	}
	return scratch[:k]
}
