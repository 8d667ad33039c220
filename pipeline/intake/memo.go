package intake

import (
	"encoding/binary"
	"math/bits"
)

// memo remembers what cells mean, by their bytes as they stand in the file, so
// that trimming, folding and looking up is done once for each spelling.
type memo struct {
	slots []memoSlot
	last  memoSlot // the short one that was found last
	arena []byte
	used  int
}

type memoSlot struct {
	head uint64 // the first eight bytes, filled up with 0
	tail uint64 // the last eight bytes of a longer key, else 0
	off  uint32 // where the key lies in the arena
	n    int32  // its length; -1: the slot is free
	val  int32
}

// maxMemo bounds the spellings that are remembered, maxMemoKey their length.
const (
	maxMemo    = 1 << 14
	maxMemoKey = 256
)

func newMemo() *memo {
	m := &memo{}
	m.reset()
	return m
}

func (m *memo) reset() {
	m.slots, m.arena, m.used, m.last.n = makeSlots(64), m.arena[:0], 0, -1
}

func makeSlots(n int) []memoSlot {
	s := make([]memoSlot, n)
	for i := range s {
		s[i].n = -1
	}
	return s
}

// ends returns the first and last eight bytes of data[off:off+n].
func ends(data []byte, off, n int) (head, tail uint64) {
	if n <= 8 {
		if off+8 <= len(data) {
			return binary.LittleEndian.Uint64(data[off:]) & (1<<(8*n) - 1), 0
		}
		for i := range n {
			head |= uint64(data[off+i]) << (8 * i)
		}
		return head, 0
	}
	return binary.LittleEndian.Uint64(data[off:]), binary.LittleEndian.Uint64(data[off+n-8:])
}

func memoHash(head, tail uint64, n int) uint64 {
	hi, lo := bits.Mul64(head^0x9e3779b97f4a7c15, tail^uint64(n)*0xff51afd7ed558ccd^0xc2b2ae3d27d4eb4f)
	return hi ^ lo
}

// get returns what data[off:off+n] means, if it is known.
func (m *memo) get(data []byte, off, n int) (int32, bool) {
	head, tail := ends(data, off, n)
	if m.last.head == head && m.last.tail == tail && int(m.last.n) == n { // the row before had it too
		return m.last.val, true
	}
	mask := uint64(len(m.slots) - 1)
	for i := memoHash(head, tail, n) & mask; ; i = (i + 1) & mask {
		s := &m.slots[i]
		if s.n < 0 {
			return 0, false
		}
		if s.head == head && s.tail == tail && int(s.n) == n &&
			(n <= 16 || string(m.arena[s.off:int(s.off)+n]) == string(data[off:off+n])) {
			if n <= 16 {
				m.last = *s
			}
			return s.val, true
		}
	}
}

// put remembers what data[off:off+n] means.
func (m *memo) put(data []byte, off, n int, val int32) {
	if m.used >= maxMemo || n > maxMemoKey {
		return
	}
	if 2*m.used >= len(m.slots) {
		old := m.slots
		m.slots = makeSlots(2 * len(old))
		for _, s := range old {
			if s.n >= 0 {
				*m.free(s.head, s.tail, int(s.n)) = s
			}
		}
	}
	head, tail := ends(data, off, n)
	*m.free(head, tail, n) = memoSlot{head, tail, uint32(len(m.arena)), int32(n), val}
	m.arena = append(m.arena, data[off:off+n]...)
	m.used++
}

func (m *memo) free(head, tail uint64, n int) *memoSlot {
	mask := uint64(len(m.slots) - 1)
	for i := memoHash(head, tail, n) & mask; ; i = (i + 1) & mask {
		if m.slots[i].n < 0 {
			return &m.slots[i]
		}
	}
}
