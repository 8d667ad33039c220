package intake

import (
	"encoding/binary"
	"math/bits"

	"hindcheck/pipeline/tabular"
)

// recall remembers which number cells of text have stood for, by their bytes as
// they stand in the file: rows that follow each other share times to the minute,
// and small numbers come again and again. A cell that was worth a note or a fault is
// read anew each time, so that it is counted each time.
type recall struct {
	slots [512]recalled
}

// recalled is the cell that fell on a slot last.
type recalled struct {
	spelling
	value uint64
}

// spelling is a cell of 1 to maxSpelling bytes: the first eight, the second eight and
// the last eight, which overlap where it is shorter.
type spelling struct {
	head, mid, tail uint64
	n               int
}

const maxSpelling = 24

// find returns the slot of a cell, and whether it holds that very cell; nil for a
// cell that is not remembered.
func (r *recall) find(data []byte, s tabular.Span) (slot *recalled, key spelling, known bool) {
	if s.Form() != tabular.TextCell {
		return nil, key, false
	}
	return r.look(data, int(s.Off), s.Len())
}

// look is find of data[off:off+n].
func (r *recall) look(data []byte, off, n int) (slot *recalled, key spelling, known bool) {
	if n == 0 || n > maxSpelling {
		return nil, key, false
	}
	key.n = n
	key.head, key.tail = ends(data, off, n)
	if n > 16 {
		key.mid = binary.LittleEndian.Uint64(data[off+8:])
	}
	hi, lo := bits.Mul64(key.head^0x9e3779b97f4a7c15, key.tail^key.mid^0xc2b2ae3d27d4eb4f)
	slot = &r.slots[(hi^lo)%uint64(len(r.slots))]
	return slot, key, slot.spelling == key
}
