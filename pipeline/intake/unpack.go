package intake

import (
	"encoding/binary"
	"fmt"
	"unsafe"

	"github.com/apache/arrow-go/v18/parquet"

	"hindcheck/pipeline/pagefile"
	"hindcheck/pipeline/records"
)

// Staged parts (stagedFile) are read back as they were written: one page a column and
// row group, in the few encodings of pagefile. The library's column readers would
// take every level and index one by one, and turn words into strings.

// unpacked is one column of a row group that was read back.
type unpacked struct {
	column
	dict []string // the words that i32 counts among
	// to are the numbers of those words in each sheet being written, -1 where the
	// word has not been needed yet.
	to [stretches][]int32
	// scratch is memory for values before they are spread over the rows.
	scratch scratch
}

type scratch struct {
	chunk []byte // the pages, where columns are read by themselves
	bytes []byte
	i64   []int64
	i32   []int32
}

// unpack decodes a page.
func (u *unpacked) unpack(data []byte, encoding parquet.Encoding, n int, dict []byte, words int) error {
	u.absent = false
	u.grow(n)
	full := true
	if !u.Required {
		size := int(binary.LittleEndian.Uint32(data))
		var none bool
		if full, none = unpackLevels(data[4:4+size], u.valid[:n]); none {
			u.absent = true
			return nil
		}
		data = data[4+size:]
	} else {
		ones(u.valid[:n])
	}
	if encoding == parquet.Encodings.RLEDict {
		u.pick(data, n, full, dict, words)
		return nil
	}
	return u.plain(data, encoding, n, full)
}

func ones(b []uint8) {
	for i := range b {
		b[i] = 1
	}
}

// unpackLevels reads what pagefile.AppendLevels wrote: full says that every row has a
// value, none that no row has.
func unpackLevels(data []byte, valid []uint8) (full, none bool) {
	head, k := binary.Uvarint(data)
	data = data[k:]
	if head&1 == 0 {
		if data[0] == 0 {
			return false, true
		}
		ones(valid)
		return true, false
	}
	unpackBits(data, valid)
	return false, false
}

func unpackBits(data []byte, flags []uint8) {
	// The product puts a copy of the byte into each of eight, the mask leaves another bit
	// of it in each, and the sum carries that bit to the top.
	const copies, each, carry, ones = 0x0101010101010101, 0x8040201008040201, 0x7f7f7f7f7f7f7f7f, 0x0101010101010101
	for ; len(flags) >= 8; flags, data = flags[8:], data[1:] {
		v := uint64(data[0]) * copies & each
		v |= (v & carry) + carry
		binary.LittleEndian.PutUint64(flags, v>>7&ones)
	}
	for i := range flags {
		flags[i] = data[0] >> i & 1
	}
}

// pick reads indices and fetches what they point to.
func (u *unpacked) pick(data []byte, n int, full bool, dict []byte, words int) {
	u.scratch.i32 = extend(u.scratch.i32, n)
	index := u.scratch.i32[:n]
	if !full {
		index = index[:count(u.valid[:n])]
	}
	unpackIndices(data, index)
	switch u.Kind {
	case records.Text:
		u.dict = u.dict[:0]
		for at := 0; at < len(dict); {
			size := int(binary.LittleEndian.Uint32(dict[at:]))
			u.dict = append(u.dict, string(dict[at+4:at+4+size]))
			at += 4 + size
		}
		for k := range u.to {
			u.to[k] = u.to[k][:0]
			for range u.dict {
				u.to[k] = append(u.to[k], -1)
			}
		}
		spread(u.i32[:n], index, u.valid, full)
	case records.UUID:
		k := 0
		for j := range n {
			if u.valid[j] == 1 {
				copy(u.uuid[16*j:16*j+16], dict[16*index[k]:])
				k++
			}
		}
	case records.Time, records.Int64:
		fetch(u.i64[:n], cast[int64](dict, words), index, u.valid, full)
	case records.Int32, records.Date:
		fetch(u.i32[:n], cast[int32](dict, words), index, u.valid, full)
	case records.Float:
		fetch(u.f64[:n], cast[float64](dict, words), index, u.valid, full)
	case records.Int16:
		wide := cast[int32](dict, words)
		k := 0
		for j := range n {
			if u.valid[j] == 1 {
				u.i16[j] = int16(wide[index[k]])
				k++
			}
		}
	}
}

// plain reads values that stand as they are, or as differences.
func (u *unpacked) plain(data []byte, encoding parquet.Encoding, n int, full bool) error {
	m := n
	if !full {
		m = count(u.valid[:n])
	}
	switch {
	case encoding == parquet.Encodings.DeltaBinaryPacked:
		u.scratch.i64 = extend(u.scratch.i64, m)
		unpackDelta(data, u.scratch.i64[:m])
		spread(u.i64[:n], u.scratch.i64[:m], u.valid, full)
	case encoding != parquet.Encodings.Plain:
		return fmt.Errorf("encoding %v", encoding)
	case u.Kind == records.UUID && full:
		copy(u.uuid[:16*n], data)
	case u.Kind == records.UUID:
		for j := range n {
			if u.valid[j] == 1 {
				copy(u.uuid[16*j:16*j+16], data)
				data = data[16:]
			}
		}
	case u.Kind == records.Boolean:
		u.scratch.bytes = extend(u.scratch.bytes, m)
		unpackBits(data, u.scratch.bytes[:m])
		spread(u.b8[:n], u.scratch.bytes[:m], u.valid, full)
	case u.Kind == records.Float:
		lay(u.f64[:n], data, m, u.valid, full)
	case u.Kind == records.Time, u.Kind == records.Int64:
		lay(u.i64[:n], data, m, u.valid, full)
	case u.Kind == records.Int32, u.Kind == records.Date:
		lay(u.i32[:n], data, m, u.valid, full)
	case u.Kind == records.Int16:
		wide, k := cast[int32](data, m), 0
		for j := range n {
			if u.valid[j] == 1 {
				u.i16[j] = int16(wide[k])
				k++
			}
		}
	}
	return nil
}

// count counts the rows with a value.
func count(valid []uint8) (n int) {
	for _, v := range valid {
		n += int(v)
	}
	return n
}

// spread sets values into the rows that have one.
func spread[T any](dst, values []T, valid []uint8, full bool) {
	if full {
		copy(dst, values)
		return
	}
	k := 0
	for j := range dst {
		if valid[j] == 1 {
			dst[j] = values[k]
			k++
		}
	}
}

// fetch spreads the values that indices point to.
func fetch[T any](dst, dict []T, index []int32, valid []uint8, full bool) {
	k := 0
	for j := range dst {
		if full || valid[j] == 1 {
			dst[j] = dict[index[k]]
			k++
		}
	}
}

// lay sets m plain values into the rows that have one.
func lay[T int32 | int64 | float64](dst []T, data []byte, m int, valid []uint8, full bool) {
	if full {
		castInto(dst, data)
		return
	}
	spread(dst, cast[T](data, m), valid, false)
}

// cast reads n little-endian numbers of fixed size.
func cast[T int32 | int64 | float64](data []byte, n int) []T {
	out := make([]T, n)
	castInto(out, data)
	return out
}

// castInto reads as many as there is room for.
func castInto[T int32 | int64 | float64](dst []T, data []byte) {
	if len(dst) == 0 {
		return
	}
	bytes := len(dst) * int(unsafe.Sizeof(dst[0]))
	copy(unsafe.Slice((*byte)(unsafe.Pointer(&dst[0])), bytes), data[:bytes])
}

// unpackIndices reads what pagefile.AppendIndices wrote.
func unpackIndices(data []byte, index []int32) {
	width := int(data[0])
	if len(index) == 0 {
		return
	}
	head, k := binary.Uvarint(data[1:])
	data = data[1+k:]
	if head&1 == 0 {
		v := int32(0)
		for b := range (width + 7) / 8 {
			v |= int32(data[b]) << (8 * b)
		}
		for i := range index {
			index[i] = v
		}
		return
	}
	acc, have := uint64(0), 0
	mask := uint64(1)<<width - 1
	for i := range index {
		for have < width {
			if len(data) >= 4 {
				acc |= uint64(binary.LittleEndian.Uint32(data)) << have
				data, have = data[4:], have+32
			} else {
				acc |= uint64(data[0]) << have
				data, have = data[1:], have+8
			}
		}
		index[i] = int32(acc & mask)
		acc >>= width
		have -= width
	}
}

// unpackDelta reads what pagefile.AppendDelta wrote.
func unpackDelta(data []byte, values []int64) {
	skip := func() uint64 {
		v, k := binary.Uvarint(data)
		data = data[k:]
		return v
	}
	signed := func() int64 {
		v, k := binary.Varint(data)
		data = data[k:]
		return v
	}
	for range 3 { // the sizes of blocks and their parts, and the number of values
		skip()
	}
	last := signed()
	if len(values) == 0 {
		return
	}
	values[0] = last
	for rest := values[1:]; len(rest) > 0; {
		least := signed()
		widths := data[:pagefile.Small.Block/pagefile.Small.Mini]
		data = data[pagefile.Small.Block/pagefile.Small.Mini:]
		for k := 0; k < pagefile.Small.Block/pagefile.Small.Mini && len(rest) > 0; k++ {
			n := min(len(rest), pagefile.Small.Mini)
			width := int(widths[k])
			for i := range n {
				last += least + int64(bitsAt(data, i*width, width))
				rest[i] = last
			}
			rest, data = rest[n:], data[width*pagefile.Small.Mini/8:]
		}
	}
}

// bitsAt reads width bits from bit at on.
func bitsAt(data []byte, at, width int) uint64 {
	if width == 0 {
		return 0
	}
	var v uint64
	byteAt, shift := at>>3, at&7
	if byteAt+8 <= len(data) {
		v = binary.LittleEndian.Uint64(data[byteAt:]) >> shift
		if shift+width > 64 {
			v |= uint64(data[byteAt+8]) << (64 - shift)
		}
	} else {
		for b := 0; b*8 < shift+width; b++ {
			x := uint64(data[byteAt+b])
			if s := 8*b - shift; s >= 0 {
				v |= x << s
			} else {
				v |= x >> -s
			}
		}
	}
	return v & (uint64(1)<<width - 1)
}
