package privacy

import (
	"crypto/hmac"
	"crypto/sha256"
	"hash"
)

// Hasher makes pseudonyms of one space fast: no allocation a value, and a
// value that came up shortly before is answered from a small table. It is for
// one goroutine.
type Hasher struct {
	mac     hash.Hash
	short   *shortMAC // of short values, nil for none
	prefix  []byte
	sum     [sha256.Size]byte
	slots   []slot
	scratch []byte
}

// slot remembers the last value that fell on it.
type slot struct {
	n     uint8
	value [maxRemembered]byte
	sum   [16]byte
}

// maxRemembered is the longest value that is worth remembering.
const maxRemembered = 47

// Hasher returns a hasher of the space that remembers up to about the given
// number of values (rounded up to a power of two, at least 1: a row that has
// the same key as the one before it costs nothing).
func (k Key) Hasher(space string, remember int) *Hasher {
	size := 1
	for size < remember {
		size *= 2
	}
	h := &Hasher{mac: hmac.New(sha256.New, *k.secret), prefix: append([]byte(space), separator), slots: make([]slot, size)}
	h.short = newShortMAC(*k.secret, h.prefix)
	h.mac.Reset() // the second Reset and later ones reuse the keyed states
	for i := range h.slots {
		h.slots[i].n = 255
	}
	return h
}

// Sum writes the pseudonym of value to dst, which must have 16 bytes.
func (h *Hasher) Sum(dst, value []byte) {
	if len(value) > maxRemembered {
		h.hash(dst, value)
		return
	}
	s := &h.slots[spot(value)&uint64(len(h.slots)-1)]
	if int(s.n) != len(value) || string(s.value[:s.n]) != string(value) {
		h.hash(s.sum[:], value)
		s.n = uint8(copy(s.value[:], value))
	}
	copy(dst, s.sum[:])
}

func (h *Hasher) hash(dst, value []byte) {
	if h.short.fits(value) {
		h.short.sum(dst[:16], value)
		return
	}
	h.mac.Reset()
	h.scratch = append(append(h.scratch[:0], h.prefix...), value...)
	h.mac.Write(h.scratch)
	copy(dst[:16], h.mac.Sum(h.sum[:0]))
}

// Join appends the parts of a composite key as one value to dst.
func Join(dst []byte, parts ...[]byte) []byte {
	for i, p := range parts {
		if i > 0 {
			dst = append(dst, separator)
		}
		dst = append(dst, p...)
	}
	return dst
}

// spot spreads values over slots; it need not be strong, only quick.
func spot(b []byte) uint64 {
	h := uint64(len(b)) * 0x9e3779b97f4a7c15
	for ; len(b) >= 8; b = b[8:] {
		h = (h ^ le64(b)) * 0xff51afd7ed558ccd
		h ^= h >> 32
	}
	for _, c := range b {
		h = (h ^ uint64(c)) * 0x100000001b3
	}
	return h ^ h>>29
}

func le64(b []byte) uint64 {
	_ = b[7]
	return uint64(b[0]) | uint64(b[1])<<8 | uint64(b[2])<<16 | uint64(b[3])<<24 | uint64(b[4])<<32 | uint64(b[5])<<40 | uint64(b[6])<<48 | uint64(b[7])<<56
}
