package intake

import "slices"

// groupNo names a row group.
type groupNo struct {
	part *part
	no   int
}

func (g groupNo) rows() int64 { return g.part.starts[g.no+1] - g.part.starts[g.no] }

// near reports, by ErrScattered, that rows taken in the given order would make
// the writer read the same row groups again and again.
func (w *Writer) near(rows []location) error {
	takes := map[groupNo]bool{}
	for _, l := range rows {
		if l.part.starts == nil {
			if err := l.part.open(); err != nil {
				return err
			}
		}
		takes[groupNo{l.part, l.part.groupOf(l.row)}] = true
	}
	if w.reads(rows) > 3*len(takes)+4 {
		return ErrScattered
	}
	return w.shut(nil)
}

// reads counts how often row groups will be read into memory for rows in order,
// with a fifth of the memory left out, since what is used again is not all used.
func (w *Writer) reads(rows []location) (reads int) {
	var held []groupNo
	total := int64(0)
	for _, l := range rows {
		if len(held) > 0 && held[0].part == l.part && l.row >= l.part.starts[held[0].no] && l.row < l.part.starts[held[0].no+1] {
			continue
		}
		g := groupNo{l.part, l.part.groupOf(l.row)}
		k := slices.Index(held, g)
		if k < 0 {
			reads++
			for total += g.rows(); len(held) > 0 && total > int64(w.most)*4/5; held = held[:len(held)-1] {
				total -= held[len(held)-1].rows()
			}
			held = append(held, g)
			k = len(held) - 1
		}
		copy(held[1:], held[:k])
		held[0] = g
	}
	return reads
}
