package pagefile

import (
	"bytes"
	"testing"

	"github.com/apache/arrow-go/v18/parquet"
	"github.com/klauspost/compress/zstd"
)

// A page header by hand, byte by byte: type 0 (data page), 300 bytes, 20 packed,
// its own header with 7 rows, dictionary indices (8), and levels in runs (3).
// Numbers are doubled, as zigzag form wants.
func TestPageHeader(t *testing.T) {
	got := dataHeader(7, parquet.Encodings.RLEDict).bytes(300, 20)
	want := []byte{0x15, 0, 0x15, 0xd8, 0x04, 0x15, 40, 0x2c, 0x15, 14, 0x15, 16, 0x15, 6, 0x15, 6, 0, 0}
	if !bytes.Equal(got, want) {
		t.Errorf("data page % x; want % x", got, want)
	}
	got = dictionaryHeader(3).bytes(9, 9)
	want = []byte{0x15, 4, 0x15, 18, 0x15, 18, 0x4c, 0x15, 6, 0x15, 0, 0, 0}
	if !bytes.Equal(got, want) {
		t.Errorf("dictionary page % x; want % x", got, want)
	}
}

// A header is read as it was written, and what is no header is refused.
func TestReadHeader(t *testing.T) {
	for _, c := range []struct {
		header pageHeader
		want   Header
	}{
		{dataHeader(70_000, parquet.Encodings.RLEDict), Header{Values: 70_000, Encoding: parquet.Encodings.RLEDict, Size: 300, Packed: 4}},
		{dictionaryHeader(3), Header{Dictionary: true, Values: 3, Size: 300, Packed: 4}},
	} {
		data := append(c.header.bytes(300, 4), "page and more"...)
		got, rest, err := ReadHeader(data)
		if err != nil || got != c.want || string(rest) != "page and more" {
			t.Errorf("%+v, %q, %v; want %+v", got, rest, err, c.want)
		}
		for n := range len(data) - len("and more") - 2 {
			if _, _, err := ReadHeader(data[:n]); err == nil {
				t.Errorf("%d bytes are taken for a header and its page", n)
			}
		}
	}
	if _, _, err := ReadHeader([]byte("no header at all")); err == nil {
		t.Error("text is taken for a header")
	}
}

// What is packed is appended, at every level and for no bytes too.
func TestPackZstd(t *testing.T) {
	dec, err := zstd.NewReader(nil)
	if err != nil {
		t.Fatal(err)
	}
	defer dec.Close()
	for _, data := range [][]byte{{}, []byte("abcabcabcabcabcabcabcabcabcabcabcabc"), bytes.Repeat([]byte{0, 1, 2, 3, 9}, 100_000)} {
		for _, level := range []int{1, 3, 7} {
			packed := packZstd([]byte("head"), data, level)
			got, err := dec.DecodeAll(packed[4:], nil)
			if err != nil || string(packed[:4]) != "head" || !bytes.Equal(got, data) {
				t.Errorf("level %d: %d bytes come back as %d, %v", level, len(data), len(got), err)
			}
		}
	}
}

// Indices of 17 to 256 words stand in bytes of their own; the rest of a page is as
// the specification has it: width, then a run of so many groups of eight values.
func TestAppendAligned(t *testing.T) {
	for words, width := range map[int]byte{1: 0, 2: 1, 16: 4, 17: 8, 256: 8, 257: 9, 2000: 11} {
		if got := AppendAligned(nil, []int32{0, 0, 0}, words); got[0] != width {
			t.Errorf("%d words: width %d; want %d", words, got[0], width)
		}
	}
	got := AppendAligned([]byte("head"), []int32{1, 16, 2}, 17)
	if want := append([]byte("head"), 8, 1<<1|1, 1, 16, 2, 0, 0, 0, 0, 0); !bytes.Equal(got, want) {
		t.Errorf("page % x; want % x", got, want)
	}
}
