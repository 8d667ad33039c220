package pagefile

import (
	"encoding/binary"
	"math/bits"
)

// The encodings of Parquet that our files use, by the Parquet format
// specification (apache/parquet-format, Encodings.md): the hybrid of run
// lengths and packed bits for levels and dictionary indices, and packed
// differences for whole numbers. A test reads them back with the library's own
// decoders.

// AppendLevels appends definition levels of 0 and 1: their length in four
// bytes, then one run when all are equal, else packed bits.
func AppendLevels(dst []byte, valid []uint8, n, nulls int) []byte {
	at := len(dst)
	dst = append(dst, 0, 0, 0, 0)
	if nulls == 0 || nulls == n {
		dst = binary.AppendUvarint(dst, uint64(n)<<1)
		dst = append(dst, uint8(1-min(nulls, 1)))
	} else {
		dst = binary.AppendUvarint(dst, uint64((n+7)/8)<<1|1)
		dst = AppendBits(dst, valid[:n])
	}
	binary.LittleEndian.PutUint32(dst[at:], uint32(len(dst)-at-4))
	return dst
}

// AppendBits packs flags of 0 and 1, the first in the lowest bit.
func AppendBits(dst []byte, flags []uint8) []byte {
	// The product moves the low bits of eight bytes side by side to the top.
	const gather = 0x0102040810204080
	for ; len(flags) >= 8; flags = flags[8:] {
		dst = append(dst, uint8(binary.LittleEndian.Uint64(flags)*gather>>56))
	}
	if len(flags) > 0 {
		var b uint8
		for i, f := range flags {
			b |= f << i
		}
		dst = append(dst, b)
	}
	return dst
}

// AppendIndices appends dictionary indices: their width in bits, then one run
// when all are equal, else packed bits.
func AppendIndices(dst []byte, indices []int32, words int) []byte {
	return appendIndices(dst, indices, bits.Len(uint(max(words-1, 0))))
}

// AppendAligned appends dictionary indices as AppendIndices does, for pages that are
// compressed: of 17 to 256 words each index stands in a byte of its own, so that
// zstd finds words that follow each other again (findings in the order in which they
// are asked) and counts how often each occurs. A file of checks takes a fiftieth
// less; of fewer words packed bits take less room.
func AppendAligned(dst []byte, indices []int32, words int) []byte {
	width := bits.Len(uint(max(words-1, 0)))
	if width > 4 && width < 8 {
		width = 8
	}
	return appendIndices(dst, indices, width)
}

func appendIndices(dst []byte, indices []int32, width int) []byte {
	dst = append(dst, uint8(width))
	if len(indices) == 0 {
		return dst
	}
	if width == 0 || Constant(indices) {
		dst = binary.AppendUvarint(dst, uint64(len(indices))<<1)
		for b := range (width + 7) / 8 {
			dst = append(dst, uint8(indices[0]>>(8*b)))
		}
		return dst
	}
	groups := (len(indices) + 7) / 8
	dst = binary.AppendUvarint(dst, uint64(groups)<<1|1)
	end := len(dst) + groups*width
	dst = appendPacked(dst, indices, width)
	for len(dst) < end { // the last group is filled up with zeros
		dst = append(dst, 0)
	}
	return dst
}

// AppendRuns appends dictionary indices as AppendIndices does, but as a run for
// each stretch of equal ones.
func AppendRuns(dst []byte, indices []int32, words int) []byte {
	width := bits.Len(uint(max(words-1, 0)))
	dst = append(dst, uint8(width))
	for i := 0; i < len(indices); {
		n := 1
		for i+n < len(indices) && indices[i+n] == indices[i] {
			n++
		}
		dst = binary.AppendUvarint(dst, uint64(n)<<1)
		for b := range (width + 7) / 8 {
			dst = append(dst, uint8(indices[i]>>(8*b)))
		}
		i += n
	}
	return dst
}

// appendPacked packs values of the given width, lowest bits first.
func appendPacked(dst []byte, values []int32, width int) []byte {
	acc, n := uint64(0), 0
	for _, v := range values {
		acc |= uint64(uint32(v)) << n
		if n += width; n >= 32 {
			dst = binary.LittleEndian.AppendUint32(dst, uint32(acc))
			acc >>= 32
			n -= 32
		}
	}
	for ; n > 0; n -= 8 {
		dst = append(dst, uint8(acc))
		acc >>= 8
	}
	return dst
}

// Constant reports whether all values are equal.
func Constant[T comparable](values []T) bool {
	for _, v := range values {
		if v != values[0] {
			return false
		}
	}
	return true
}

// Delta is a shape of DELTA_BINARY_PACKED: how many values a block has, how many
// each of the parts into which it is cut, and how many bits the width of a part
// is a multiple of.
type Delta struct{ Block, Mini, Step int }

var (
	// Small packs closest by itself.
	Small = Delta{128, 32, 1}
	// Aligned is for pages that are compressed: differences that repeat (the times of
	// one call's checks) stand in whole bytes and are counted from the same least
	// one, so that zstd finds them. Times take half the room of Small.
	Aligned = Delta{8192, 256, 8}
)

// AppendDelta appends whole numbers as packed differences.
func AppendDelta(dst []byte, values []int64, shape Delta) []byte {
	dst = binary.AppendUvarint(dst, uint64(shape.Block))
	dst = binary.AppendUvarint(dst, uint64(shape.Block/shape.Mini))
	dst = binary.AppendUvarint(dst, uint64(len(values)))
	if len(values) == 0 {
		return binary.AppendVarint(dst, 0)
	}
	dst = binary.AppendVarint(dst, values[0])
	deltas := make([]uint64, shape.Block)
	last := values[0]
	for rest := values[1:]; len(rest) > 0; {
		n := min(len(rest), shape.Block)
		least := rest[0] - last
		for i, v := range rest[:n] {
			d := v - last // wraps, as the format says
			deltas[i] = uint64(d)
			least = min(least, d)
			last = v
		}
		rest = rest[n:]
		dst = binary.AppendVarint(dst, least)
		for i := range deltas[:n] {
			deltas[i] -= uint64(least)
		}
		clear(deltas[n:])
		dst = shape.appendMinis(dst, deltas, n)
	}
	return dst
}

// appendMinis appends the widths of a block's parts, then the parts that hold
// values.
func (s Delta) appendMinis(dst []byte, deltas []uint64, n int) []byte {
	at := len(dst)
	dst = append(dst, make([]byte, s.Block/s.Mini)...)
	for k := 0; k*s.Mini < n; k++ {
		part, all := deltas[k*s.Mini:(k+1)*s.Mini], uint64(0)
		for _, d := range part {
			all |= d
		}
		width := (bits.Len64(all) + s.Step - 1) / s.Step * s.Step
		dst[at+k] = uint8(width)
		dst = appendWide(dst, part, width)
	}
	return dst
}

// appendWide packs a multiple of 32 values of up to 64 bits.
func appendWide(dst []byte, values []uint64, width int) []byte {
	if width == 0 {
		return dst
	}
	acc, n := uint64(0), 0
	for _, v := range values {
		acc |= v << n
		if n+width < 64 {
			n += width
			continue
		}
		dst = binary.LittleEndian.AppendUint64(dst, acc)
		used := 64 - n
		acc, n = 0, width-used
		if used < 64 {
			acc = v >> used
		}
	}
	for ; n > 0; n -= 8 {
		dst = append(dst, uint8(acc))
		acc >>= 8
	}
	return dst
}

// Distinct numbers the values of a column that has few different ones.
type Distinct struct {
	slots [8192]int32 // index + 1
	// Values are the different values by index.
	Values []uint64
}

// MaxDistinct is how many different values are worth a dictionary.
const MaxDistinct = 2048

// Reset forgets all values.
func (d *Distinct) Reset() {
	clear(d.slots[:])
	d.Values = d.Values[:0]
}

// Add returns the index of v; ok is false when there are too many values.
func (d *Distinct) Add(v uint64) (int32, bool) {
	for i := v * 0x9e3779b97f4a7c15 >> 51; ; i = (i + 1) & 8191 {
		s := d.slots[i]
		if s == 0 {
			if len(d.Values) == MaxDistinct {
				return 0, false
			}
			d.Values = append(d.Values, v)
			d.slots[i] = int32(len(d.Values))
			return int32(len(d.Values) - 1), true
		}
		if d.Values[s-1] == v {
			return s - 1, true
		}
	}
}
