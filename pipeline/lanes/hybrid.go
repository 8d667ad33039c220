package lanes

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

// hybrid reads numbers in the hybrid of run lengths and packed bits in which Parquet
// keeps levels and places in a dictionary (apache/parquet-format, Encodings.md).
type hybrid struct {
	data  []byte
	width int
	left  int // values left of the present run
	same  int32
	// In a packed run: the bit in data at which the next value begins, and the bytes
	// of the run.
	packed    bool
	bit, size int
}

func newHybrid(data []byte, width int) (hybrid, error) {
	if width < 0 || width > 31 {
		return hybrid{}, fmt.Errorf("numbers of %d bits", width)
	}
	return hybrid{data: data, width: width}, nil
}

// next begins the next run.
func (h *hybrid) next() error {
	if h.packed {
		h.data, h.packed = h.data[h.size:], false
	}
	head, n := binary.Uvarint(h.data)
	if n <= 0 || head>>1 == 0 || head>>1 > math.MaxInt32/8 {
		return io.ErrUnexpectedEOF
	}
	h.data = h.data[n:]
	if head&1 == 1 {
		groups := int(head >> 1) // of eight values
		h.packed, h.left, h.bit, h.size = true, 8*groups, 0, min(groups*h.width, len(h.data))
		return nil
	}
	bytes := (h.width + 7) / 8
	if len(h.data) < bytes {
		return io.ErrUnexpectedEOF
	}
	h.left, h.same = int(head>>1), 0
	for i, b := range h.data[:bytes] {
		h.same |= int32(b) << (8 * i)
	}
	h.data = h.data[bytes:]
	return nil
}

// run returns the number that the next n values have in common, if they stand in
// one run of it, and passes over them.
func (h *hybrid) run(n int) (v int32, ok bool, err error) {
	if h.left == 0 {
		if err := h.next(); err != nil {
			return 0, false, err
		}
	}
	if h.packed || h.left < n {
		return 0, false, nil
	}
	h.left -= n
	return h.same, true, nil
}

// read reads the next values.
func (h *hybrid) read(out []int32) error {
	for len(out) > 0 {
		if h.left == 0 {
			if err := h.next(); err != nil {
				return err
			}
		}
		n := min(h.left, len(out))
		if h.packed {
			h.unpack(out[:n])
		} else {
			for i := range out[:n] {
				out[i] = h.same
			}
		}
		h.left -= n
		out = out[n:]
	}
	return nil
}

// unpack takes numbers out of a packed run; what lies behind its end is nought.
func (h *hybrid) unpack(out []int32) {
	data, bit, mask := h.data[:h.size], h.bit, uint64(1)<<h.width-1
	i := 0
	for ; i < len(out) && bit>>3+8 <= len(data); i++ {
		out[i] = int32(binary.LittleEndian.Uint64(data[bit>>3:]) >> (bit & 7) & mask)
		bit += h.width
	}
	for ; i < len(out); i++ {
		var last [8]byte
		if at := bit >> 3; at < len(data) {
			copy(last[:], data[at:])
		}
		out[i] = int32(binary.LittleEndian.Uint64(last[:]) >> (bit & 7) & mask)
		bit += h.width
	}
	h.bit = bit
}
