package pagefile

import (
	"encoding/binary"
	"errors"
	"sync"

	"github.com/apache/arrow-go/v18/parquet"
	"github.com/klauspost/compress/zstd"
)

// pageHeader is a page's header but for its sizes: the type of the page, the
// number of its own header in the struct PageHeader, and that header's numbers in
// order, by the Parquet format specification (apache/parquet-format,
// parquet.thrift).
type pageHeader struct {
	kind, field int
	numbers     []int
}

func dictionaryHeader(words int) pageHeader {
	return pageHeader{2, 7, []int{words, int(parquet.Encodings.Plain)}}
}

func dataHeader(rows int, e parquet.Encoding) pageHeader {
	rle := int(parquet.Encodings.RLE)
	return pageHeader{0, 5, []int{rows, int(e), rle, rle}}
}

// The compact protocol of Thrift (thrift-compact-protocol.md): a field begins
// with a byte of its distance from the last one and its type; whole numbers follow
// in zigzag form; a struct ends with nought.
const (
	thriftInt    = 5
	thriftStruct = 12
)

// bytes encodes the header of a page of so many bytes before and after compression.
func (h pageHeader) bytes(size, packed int) []byte {
	var out []byte
	number := func(n int) {
		out = append(out, 1<<4|thriftInt)
		out = binary.AppendVarint(out, int64(n))
	}
	number(h.kind)
	number(size)
	number(packed)
	out = append(out, byte(h.field-3)<<4|thriftStruct)
	for _, n := range h.numbers {
		number(n)
	}
	return append(out, 0, 0)
}

// Header is what the header of a page tells.
type Header struct {
	// Dictionary says that it is a page of a dictionary; else it holds rows.
	Dictionary bool
	// Values is how many words or rows the page has.
	Values   int
	Encoding parquet.Encoding
	// Size and Packed are the bytes of the page before and after compression.
	Size, Packed int
}

// ReadHeader decodes the header of a page that a File wrote and returns what follows it.
func ReadHeader(data []byte) (h Header, rest []byte, err error) {
	var numbers [7]int64
	n := 0
	for ; len(data) > 0 && data[0] != 0; data = data[1:] {
		if data[0]&15 == thriftStruct {
			continue
		}
		v, k := binary.Varint(data[1:])
		if data[0] != 1<<4|thriftInt || k <= 0 || n == len(numbers) {
			return h, nil, errors.New("no header of a page")
		}
		numbers[n], data, n = v, data[k:], n+1
	}
	if n < 5 || len(data) < 2 || numbers[2] < 0 || numbers[2] > int64(len(data)-2) {
		return h, nil, errors.New("no header of a page")
	}
	h = Header{numbers[0] == 2, int(numbers[3]), parquet.Encoding(numbers[4]), int(numbers[1]), int(numbers[2])}
	return h, data[2:], nil
}

// compressors are kept from page to page: making one costs more than using it.
var compressors = struct {
	sync.Mutex
	idle map[zstd.EncoderLevel][]*zstd.Encoder
}{idle: map[zstd.EncoderLevel][]*zstd.Encoder{}}

// window is how far back a compressor looks; pages are hardly longer, and the usual
// eight megabytes would be held by each of them.
const window = 1 << 20

// packZstd appends data compressed at a level to dst.
func packZstd(dst, data []byte, level int) []byte {
	l := zstd.EncoderLevelFromZstd(level)
	var enc *zstd.Encoder
	compressors.Lock()
	if list := compressors.idle[l]; len(list) > 0 {
		enc, compressors.idle[l] = list[len(list)-1], list[:len(list)-1]
	}
	compressors.Unlock()
	if enc == nil {
		// Packed bits hardly repeat, but some bytes are more frequent: of words without an
		// order in time (sex, species) a quarter to a third. No option can fail.
		enc, _ = zstd.NewWriter(nil, zstd.WithZeroFrames(true), zstd.WithEncoderLevel(l), zstd.WithAllLitEntropyCompression(true),
			zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(window))
	}
	dst = enc.EncodeAll(data, dst)
	compressors.Lock()
	compressors.idle[l] = append(compressors.idle[l], enc)
	compressors.Unlock()
	return dst
}
