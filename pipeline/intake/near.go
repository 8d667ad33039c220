package intake

import (
	"cmp"
	"maps"
	"slices"

	"hindcheck/pipeline/records"
)

// An export holds late rows of the months before it, and the vets' checks come in
// exports of their own, so that a month's rows stand in the parts of one export
// and, fewer, in those of a dozen others. Of the row groups that hold few of
// them, these rows alone are kept in memory.

// mostPicked bounds the rows that are kept so for a file, mostPickedOf those of
// one row group.
const (
	mostPicked   = records.RowGroup
	mostPickedOf = records.RowGroup / 2
)

// picked are the rows that a file takes of one row group.
type picked struct {
	*group
	// stretches in the order of the part: rows from from on stand at to.
	stretches []stretch
}

type stretch struct {
	from int64
	to   int
	n    int
}

// at is the place of a row of the part among those picked.
func (p *picked) at(row int64) int {
	i, ok := slices.BinarySearchFunc(p.stretches, row, func(s stretch, row int64) int { return cmp.Compare(s.from, row) })
	if !ok {
		i--
	}
	return p.stretches[i].to + int(row-p.stretches[i].from)
}

// groupNo names a row group.
type groupNo struct {
	part *part
	no   int
}

func (g groupNo) rows() int64 { return g.part.starts[g.no+1] - g.part.starts[g.no] }

// prepare makes ready for rows that will be taken in the given order. It
// reports, by ErrScattered, that this would read the same row groups too often.
func (w *Writer) prepare(rows []location) error {
	takes := map[groupNo]int{}
	for _, p := range w.parts {
		p.few = nil
	}
	for _, l := range rows {
		if l.part.starts == nil {
			if err := l.part.open(); err != nil {
				return err
			}
		}
		takes[groupNo{l.part, l.part.groupOf(l.row)}] += int(l.n)
	}
	if w.reads(rows) <= len(takes)+len(takes)/4 {
		return w.shut(nil)
	}
	if err := w.pick(rows, takes); err != nil {
		return err
	}
	if w.reads(rows) > 3*len(takes)+4 {
		return ErrScattered
	}
	return w.shut(nil)
}

// pick reads the rows of the row groups that hold few of them.
func (w *Writer) pick(rows []location, takes map[groupNo]int) error {
	most, total := 0, 0
	for _, n := range slices.Sorted(maps.Values(takes)) {
		if total += n; n > mostPickedOf || total > mostPicked {
			break
		}
		most = n
	}
	few := map[groupNo][]stretch{}
	for g, n := range takes {
		if n <= most {
			few[g] = nil
		}
	}
	var order []groupNo
	for _, l := range rows {
		g := groupNo{l.part, l.part.groupOf(l.row)}
		if list, ok := few[g]; ok {
			if list == nil {
				order = append(order, g)
			}
			few[g] = append(list, stretch{from: l.row, n: int(l.n)})
		}
	}
	for _, g := range order {
		if err := w.pickFrom(g, few[g], takes[g]); err != nil {
			return err
		}
	}
	return nil
}

// pickFrom reads stretches of one row group.
func (w *Writer) pickFrom(g groupNo, list []stretch, rows int) error {
	slices.SortFunc(list, func(a, b stretch) int { return cmp.Compare(a.from, b.from) })
	whole, _, err := w.at(g.part, g.part.starts[g.no])
	if err != nil {
		return err
	}
	out := &picked{group: w.newGroup(), stretches: list}
	out.n = rows
	for c := range out.columns {
		from, to := &whole.columns[c], &out.columns[c]
		to.absent = from.absent
		to.grow(rows)
		to.dict, to.to = slices.Clone(from.dict), slices.Clone(from.to)
		at := 0
		for i := range list {
			if list[i].to = at; !from.absent {
				to.copyFrom(&from.column, at, int(list[i].from-g.part.starts[g.no]), list[i].n)
			}
			at += list[i].n
		}
	}
	if g.part.few == nil {
		g.part.few = map[int]*picked{}
	}
	g.part.few[g.no] = out
	return nil
}

// copyFrom copies n rows of a column of the same kind; words keep their numbers.
func (c *column) copyFrom(from *column, at, i, n int) {
	copy(c.valid[at:at+n], from.valid[i:])
	switch c.Kind {
	case records.UUID:
		copy(c.uuid[16*at:16*(at+n)], from.uuid[16*i:])
	case records.Time, records.Int64:
		copy(c.i64[at:at+n], from.i64[i:])
	case records.Text, records.Int32, records.Date:
		copy(c.i32[at:at+n], from.i32[i:])
	case records.Int16:
		copy(c.i16[at:at+n], from.i16[i:])
	case records.Float:
		copy(c.f64[at:at+n], from.f64[i:])
	case records.Boolean:
		copy(c.b8[at:at+n], from.b8[i:])
	}
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
		if l.part.few[g.no] != nil {
			continue
		}
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
