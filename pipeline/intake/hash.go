package intake

import (
	"encoding/binary"
	"math"
	"math/bits"

	"hindcheck/pipeline/records"
)

// hash fills row_hash of rows [from, to): a 32-bit hash of the mapped values
// without exported_at, the file and the row, by which an unchanged record is
// known again. It is a sum of one term a value, each mixed with the column's
// name, so a column that is null everywhere changes nothing. It is the same on
// every machine and in every run; changing it makes every record look changed.
//
// Only rows of one key, or of the checks of one call, are compared, so that of 2^32
// corrections one is taken for a repetition and not stored. Of 64 bits it would
// be one of 2^64, but they do not pack and were more than half of a stored check.
func (w *worker) hash(from, to int) {
	h := extend(w.hashes, to-from)
	w.hashes = h
	h = h[:to-from]
	for i := range h {
		h[i] = 0x243f6a8885a308d3 // digits of pi
	}
	for i := range w.columns[:len(w.columns)-4] {
		if c := &w.columns[i]; !c.absent {
			c.addHash(h, from, columnSeed(c.Name))
		}
	}
	out := &w.columns[len(w.columns)-3]
	for i, v := range h {
		out.i32[from+i] = int32(mix(v, 0xa4093822299f31d1) >> 32)
		out.valid[from+i] = 1
	}
}

func mix(a, b uint64) uint64 {
	hi, lo := bits.Mul64(a, b)
	return hi ^ lo
}

// columnSeed spreads a column's name over 64 bits (FNV-1a, then mixed).
func columnSeed(name string) uint64 {
	h := uint64(0xcbf29ce484222325)
	for i := range len(name) {
		h = (h ^ uint64(name[i])) * 0x100000001b3
	}
	return mix(h, 0x9e3779b97f4a7c15) | 1
}

// addHash adds the term of each value of the column.
func (c *column) addHash(h []uint64, from int, seed uint64) {
	const k = 0x452821e638d01377
	valid := c.valid[from : from+len(h)]
	switch c.Kind {
	case records.UUID:
		u := c.uuid[16*from:]
		for i := range h {
			if valid[i] == 1 {
				a, b := binary.LittleEndian.Uint64(u[16*i:]), binary.LittleEndian.Uint64(u[16*i+8:])
				h[i] += mix(a^seed, b^k)
			}
		}
	case records.Time, records.Int64:
		for i, v := range c.i64[from : from+len(h)] {
			if valid[i] == 1 {
				h[i] += mix(uint64(v)^seed, k)
			}
		}
	case records.Text:
		for i, v := range c.i32[from : from+len(h)] {
			if valid[i] == 1 {
				h[i] += mix(c.words.hashes[v]^seed, k)
			}
		}
	case records.Int32, records.Date:
		for i, v := range c.i32[from : from+len(h)] {
			if valid[i] == 1 {
				h[i] += mix(uint64(v)^seed, k)
			}
		}
	case records.Int16:
		for i, v := range c.i16[from : from+len(h)] {
			if valid[i] == 1 {
				h[i] += mix(uint64(v)^seed, k)
			}
		}
	case records.Float:
		for i, v := range c.f64[from : from+len(h)] {
			if valid[i] == 1 {
				h[i] += mix(math.Float64bits(v)^seed, k)
			}
		}
	case records.Boolean:
		for i, v := range c.b8[from : from+len(h)] {
			if valid[i] == 1 {
				h[i] += mix(uint64(v)^seed, k)
			}
		}
	}
}
