package privacy

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding"
	"encoding/binary"
	"io"
)

// shortMAC is HMAC-SHA256 (RFC 2104) of messages that fill at most one block of the
// hash, begun from the states behind both keys. hash.Hash would copy each
// state four times and pad byte by byte, which took longer than the hashing itself; a
// fifth of the time of reading an export goes into pseudonyms.
//
// It looks into the states that crypto/sha256 marshals. Should their form change,
// newShortMAC finds it out and there is none.
type shortMAC struct {
	hash         resumable
	inner, outer []byte // states behind the keys
	block, last  [sha256.BlockSize]byte
	state        []byte
	prefix       int
}

type resumable interface {
	io.Writer
	encoding.BinaryUnmarshaler
	encoding.BinaryAppender
}

// Where the eight words stand in a marshalled state.
const (
	stateFrom = 4
	stateTo   = stateFrom + sha256.Size
)

// maxShort is the longest message, prefix included, that fits one block with its padding.
const maxShort = sha256.BlockSize - 9

// newShortMAC returns the code of messages that begin with prefix; nil where there is none.
func newShortMAC(key, prefix []byte) *shortMAC {
	hash, ok := sha256.New().(resumable)
	if !ok || len(prefix) >= maxShort || len(key) > sha256.BlockSize {
		return nil
	}
	m := &shortMAC{hash: hash}
	m.prefix = copy(m.block[:], prefix)
	for _, side := range []struct {
		pad   byte
		state *[]byte
	}{{0x36, &m.inner}, {0x5c, &m.outer}} {
		fresh := sha256.New().(resumable)
		var block [sha256.BlockSize]byte
		copy(block[:], key)
		for i := range block {
			block[i] ^= side.pad
		}
		_, _ = fresh.Write(block[:]) // never fails
		state, err := fresh.AppendBinary(nil)
		if err != nil || len(state) < stateTo {
			return nil
		}
		*side.state = state
	}
	finish(m.last[:], sha256.Size)
	if !m.right(key) {
		return nil
	}
	return m
}

// finish pads a block of n bytes, the last behind one block of key.
func finish(block []byte, n int) {
	block[n] = 0x80
	clear(block[n+1:])
	binary.BigEndian.PutUint64(block[sha256.BlockSize-8:], uint64(sha256.BlockSize+n)*8)
}

// fits reports whether a value is short enough.
func (m *shortMAC) fits(value []byte) bool { return m != nil && m.prefix+len(value) <= maxShort }

// sum writes the first len(dst) bytes of the code of prefix and value.
func (m *shortMAC) sum(dst, value []byte) {
	n := m.prefix + copy(m.block[m.prefix:], value)
	finish(m.block[:], n)
	copy(m.last[:], m.resume(m.inner, m.block[:]))
	copy(dst, m.resume(m.outer, m.last[:]))
}

// resume hashes one block from a state on.
func (m *shortMAC) resume(state, block []byte) []byte {
	_ = m.hash.UnmarshalBinary(state) // it was marshalled by the same kind
	_, _ = m.hash.Write(block)
	m.state, _ = m.hash.AppendBinary(m.state[:0])
	return m.state[stateFrom:stateTo]
}

// right compares with the library's own code.
func (m *shortMAC) right(key []byte) bool {
	probe := []byte("probe")
	var got [sha256.Size]byte
	if !m.fits(probe) {
		return false
	}
	m.sum(got[:], probe)
	mac := hmac.New(sha256.New, key)
	mac.Write(m.block[:m.prefix])
	mac.Write(probe)
	return hmac.Equal(got[:], mac.Sum(nil))
}
