package intake

import (
	"container/list"
	"fmt"
	"slices"
)

// bytesHeld is how much of staged parts is in memory at a time, in whole row
// groups: an export is read by two workers, most of a month stands in two exports,
// and the vets' checks come in some more. Calls come from fewer parts than checks;
// with too little, groups are read again and again: two million calls took three times
// as long over their checks with 24 MB as with 96.
const (
	bytesHeld       = 24 << 20
	bytesHeldChecks = 64 << 20
)

// part is a staged part that is read back.
type part struct {
	Staged
	rd     *stagedFile
	bytes  *[]byte // memory that all parts of a writer share
	starts []int64 // the first row of each row group, and the number of rows
	held   []*group
	source []ascent // where the rows came from, where they are looked for by it
	used   bool     // the file that is written has a row found by it, the last one in the ascent last
	last   int
}

// groupNo names a row group.
type groupNo struct {
	part *part
	no   int
}

// group is a row group of a part in memory.
type group struct {
	part    *part
	no, n   int
	room    int // rows for which there is memory
	columns []unpacked
	at      *list.Element
	// tallies are those of the group's words for findings.
	tallies []*Tally
	tallied []bool
}

func (p *part) open() error {
	if p.rd != nil {
		return nil
	}
	rd, err := openStaged(p.Path, p.bytes)
	if err != nil {
		return fmt.Errorf("read staged rows: %w", err)
	}
	p.rd, p.starts = rd, []int64{0}
	for g := range rd.groups() {
		p.starts = append(p.starts, p.starts[g]+rd.rows(g))
	}
	p.held = make([]*group, rd.groups())
	return nil
}

func (p *part) close() error {
	if p.rd == nil {
		return nil
	}
	rd := p.rd
	p.rd, p.held = nil, nil
	return rd.close()
}

// shut closes the parts of which no row group is in memory, save some.
func (w *Writer) shut(save func(*part) bool) error {
	for _, p := range w.parts {
		if p.rd != nil && !save(p) && !slices.ContainsFunc(p.held, func(g *group) bool { return g != nil }) {
			if err := p.close(); err != nil {
				return fmt.Errorf("read staged rows: %w", err)
			}
		}
	}
	return nil
}

// groupOf is the row group of a row.
func (p *part) groupOf(row int64) int {
	g, ok := slices.BinarySearch(p.starts, row)
	if ok {
		return g
	}
	return g - 1
}

// at returns the row group in which a row of a part stands, and its place there.
func (w *Writer) at(p *part, row int64) (*group, int, error) {
	if p.rd == nil {
		if err := p.open(); err != nil {
			return nil, 0, err
		}
	}
	no := p.groupOf(row)
	if no < 0 || no >= len(p.held) {
		return nil, 0, fmt.Errorf("read staged rows: %s has no row %d", p.Path, row)
	}
	g := p.held[no]
	if g == nil {
		var err error
		if g, err = w.hold(p, no); err != nil {
			return nil, 0, err
		}
	} else if w.recent.Front() != g.at {
		w.recent.MoveToFront(g.at)
	}
	return g, int(row - p.starts[no]), nil
}

func (w *Writer) newGroup() *group {
	g := &group{columns: make([]unpacked, len(w.from.Columns))}
	for i, c := range w.from.Columns {
		g.columns[i].Column = c
	}
	return g
}

// hold reads a row group into memory, in place of those that were used least
// recently.
func (w *Writer) hold(p *part, no int) (*group, error) {
	w.settleAll()
	w.reads++
	w.touched[groupNo{p, no}] = true
	w.far = w.far || w.reads > 3*len(w.touched)+4
	rows := int(p.starts[no+1] - p.starts[no])
	g := w.memory(rows)
	if err := w.shut(func(other *part) bool { return other == p }); err != nil {
		return nil, err
	}
	n, err := p.rd.group(no, g.columns)
	if err != nil {
		return nil, err
	}
	g.part, g.no, g.n, g.tallies, g.tallied = p, no, n, nil, nil
	g.at = w.recent.PushFront(g)
	p.held[no] = g
	return g, nil
}

// memory returns memory for a row group: some that was used before, or new, for
// which older row groups make room.
func (w *Writer) memory(rows int) *group {
	for {
		at := slices.IndexFunc(w.spare, func(g *group) bool { return g.room >= rows && g.room <= rows+rows/4 })
		switch {
		case at >= 0:
			g := w.spare[at]
			w.spare = slices.Delete(w.spare, at, at+1)
			return g
		case w.room+rows <= w.most, len(w.spare) == 0 && w.recent.Len() == 0:
			g := w.newGroup()
			g.room = rows
			w.room += rows
			return g
		case len(w.spare) > 0:
			w.room -= w.spare[0].room
			w.spare = slices.Delete(w.spare, 0, 1)
		default:
			w.drop(w.recent.Back().Value.(*group))
		}
	}
}

// drop takes a row group out of memory.
func (w *Writer) drop(g *group) {
	w.recent.Remove(g.at)
	g.part.held[g.no] = nil
	w.spare = append(w.spare, g)
}
