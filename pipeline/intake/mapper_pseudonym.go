package intake

import "encoding/hex"

// pseudonymMapper takes over pseudonyms that a form of ours brings back.
type pseudonymMapper struct {
	col   *column
	slots [][]int
	at    *place
}

func (p *pseudonymMapper) fill(w *worker) {
	for i := range w.m {
		j := w.base + i
		p.col.valid[j] = 0
		var cell []byte
		blank := true
		for alt := 0; blank && alt < len(p.slots); alt++ {
			cell, blank = w.text(w.spans(p.slots[alt][0])[i])
		}
		switch {
		case blank && p.col.Required:
			w.fail(i, missingKey, p.at, nil)
		case blank:
		case !readPseudonym(p.col.uuid[16*j:16*j+16], cell):
			w.fail(i, badPseudonym, p.at, cell)
		default:
			p.col.valid[j] = 1
		}
	}
}

// readPseudonym reads 32 hexadecimal digits in groups of 8, 4, 4, 4 and 12.
func readPseudonym(dst, cell []byte) bool {
	if len(cell) != 36 || cell[8] != '-' || cell[13] != '-' || cell[18] != '-' || cell[23] != '-' {
		return false
	}
	var digits [32]byte
	n := copy(digits[:], cell[:8])
	for _, part := range [][]byte{cell[9:13], cell[14:18], cell[19:23], cell[24:]} {
		n += copy(digits[n:], part)
	}
	_, err := hex.Decode(dst, digits[:])
	return err == nil
}
