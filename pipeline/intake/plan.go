package intake

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"hindcheck/pipeline/records"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/tabular"
)

// plan is the description brought together with one file's header. It is
// shared by the workers and not changed.
type plan struct {
	in       Input
	desc     *source.Description
	table    records.Table
	names    []string // the header
	selected []int    // the file's columns that are read; their places are slots
	slots    map[int]int
	problems []string
	// exportedAt in microseconds, 0 when it comes from the column in slot
	// exportedSlot.
	exportedAt   int64
	exportedSlot int
	columns      []columnPlan
	item         int // slot of the check's word, -1 in other tables
	reading      int
	readings     []readingPlan
	wide         []widePlan
	serial       bool // numbers in columns of times are day numbers
	from1904     bool
	perRow       int // the most rows that one row of the export becomes
}

// columnPlan is a mapped column with its slots. An optional column that the
// file lacks has none.
type columnPlan struct {
	*source.Column
	at       int     // place in the table
	slots    [][]int // alternatives, each with its parts
	unitSlot int
}

type readingPlan struct {
	source.Reading
	word                  string
	countSlot, windowSlot int
}

type widePlan struct {
	readingPlan
	slot      int
	skipBlank bool
	column    string
}

func newPlan(in Input, header []string) (*plan, error) {
	p := &plan{in: in, desc: in.Desc, table: in.Desc.Table, names: header,
		slots: map[int]int{}, item: -1, reading: -1, exportedSlot: -1, perRow: 1}
	for i := range p.desc.Columns {
		p.columns = append(p.columns, p.column(&p.desc.Columns[i]))
	}
	if p.desc.Item != nil {
		p.item = p.slot(p.desc.Item.From[0][0], false)
		p.reading = p.slot(p.desc.Reading.From[0][0], false)
		for word, r := range p.desc.Items {
			p.readings = append(p.readings, p.readingPlan(word, r))
		}
		slices.SortFunc(p.readings, func(a, b readingPlan) int { return strings.Compare(a.word, b.word) })
	}
	for _, w := range p.desc.Wide {
		if slot := p.slot(w.Column, w.Optional); slot >= 0 {
			p.wide = append(p.wide, widePlan{p.readingPlan(w.Column, w.Reading), slot, w.SkipBlank, w.Column})
		}
	}
	p.perRow = max(1, len(p.wide))
	if len(p.problems) > 0 {
		return nil, p.headerProblem()
	}
	return p, p.exported()
}

func (p *plan) column(c *source.Column) columnPlan {
	cp := columnPlan{Column: c, at: p.table.Index(c.Target.Name), unitSlot: -1}
	for _, alt := range c.From {
		var parts []int
		for _, name := range alt {
			if s := p.slot(name, c.Optional); s >= 0 {
				parts = append(parts, s)
			}
		}
		if len(parts) == len(alt) {
			cp.slots = append(cp.slots, parts)
		}
	}
	if c.UnitFrom != "" {
		cp.unitSlot = p.slot(c.UnitFrom, c.Optional)
	}
	return cp
}

func (p *plan) readingPlan(word string, r source.Reading) readingPlan {
	rp := readingPlan{Reading: r, word: word, countSlot: -1, windowSlot: -1}
	if r.CountFrom != "" {
		rp.countSlot = p.slot(r.CountFrom, false)
	}
	if r.WindowFrom != "" {
		rp.windowSlot = p.slot(r.WindowFrom, false)
	}
	return rp
}

// slot returns the slot of a column by name, -1 when it is missing.
func (p *plan) slot(name string, optional bool) int {
	at := source.FindColumn(p.names, name)
	switch {
	case len(at) == 0:
		if !optional {
			p.problems = append(p.problems, fmt.Sprintf("no column %q", name))
		}
		return -1
	case len(at) > 1:
		p.problems = append(p.problems, fmt.Sprintf("%d columns %q", len(at), name))
		return -1
	}
	s, ok := p.slots[at[0]]
	if !ok {
		s = len(p.selected)
		p.slots[at[0]] = s
		p.selected = append(p.selected, at[0])
	}
	return s
}

// headerProblem says which columns are missing or stand twice, and which there
// are. A row of which no name is known may be no header but somebody's record,
// and is not shown.
func (p *plan) headerProblem() error {
	slices.Sort(p.problems)
	out := &tabular.Problem{File: p.in.Path, Row: int64(p.desc.Format.SkipRows) + 1, Expected: "the columns that " + p.desc.Path + " names, each once",
		Found: strings.Join(slices.Compact(p.problems), ", ")}
	if len(p.selected) == 0 {
		out.Found = fmt.Sprintf("a row of %d cells of which none is known", len(p.names))
		out.Remedy = "set file: delimiter, skip_rows or sheet so that the row of column names is read as such"
		return out
	}
	there := []string{}
	for _, n := range p.names {
		if n != "" {
			there = append(there, source.Quote(n))
		}
	}
	if len(there) > 30 {
		there = append(there[:30], "...")
	}
	out.Remedy = "the file has " + strings.Join(there, ", ") + "; correct the description, or mark a column optional"
	return out
}

// exported settles when the export was made.
func (p *plan) exported() error {
	e := p.desc.Exported
	name := filepath.Base(p.in.Path)
	switch {
	case !p.in.ExportedAt.IsZero():
		p.exportedAt = p.in.ExportedAt.UnixMicro()
	case e.FileName != nil:
		m := e.FileName.FindStringSubmatch(name)
		if m == nil {
			return &tabular.Problem{File: name, Expected: "a file name that matches " + e.FileName.String(), Found: "another name",
				Remedy: "correct exported_at in " + p.desc.Path + ", or state the time of the export with the command"}
		}
		moment, ok := e.Layout.Parse([]byte(m[1]))
		if !ok {
			return &tabular.Problem{File: name, Expected: "a date in the file's name written as " + e.Layout.String(), Found: fmt.Sprintf("%q", m[1]),
				Remedy: "correct the layout under exported_at in " + p.desc.Path}
		}
		z := newZone(p.desc)
		z.overlap, z.gap = source.Earlier, source.ShiftForward
		p.exportedAt, _, _ = z.utc(moment.Micros, e.Layout.Zoned())
	case e.Column != "":
		if p.exportedSlot = p.slot(e.Column, false); p.exportedSlot < 0 {
			return p.headerProblem()
		}
	default:
		return &tabular.Problem{File: name, Expected: "to know when the export was made", Found: "nothing that says so",
			Remedy: "add exported_at to " + p.desc.Path + ", or state the time of the export with the command"}
	}
	return nil
}
