package intake

import (
	"cmp"
	"path/filepath"
	"slices"

	"hindcheck/pipeline/records"
	"hindcheck/pipeline/tabular"
)

// asideRows is how many rows set aside are kept before they are written.
const asideRows = 1 << 14

// asideFile collects the rows set aside.
type asideFile struct {
	partFile
	columns []column
	n       int
}

func newAsideFile(p *plan, no int) asideFile {
	a := asideFile{partFile: partFile{table: records.SetAside, path: p.partPath(records.SetAside.Name, no)}}
	a.columns = newColumns(records.SetAside)
	return a
}

// add appends a row set aside; an empty text is null.
func (a *asideFile) add(f Fault) {
	if len(a.columns[0].valid) <= a.n {
		for i := range a.columns {
			a.columns[i].grow(max(64, 2*a.n))
		}
	}
	for i, v := range []string{f.File, "", f.Column, f.Reason, f.Kind, f.Expected, f.Remedy} {
		c := &a.columns[i]
		c.valid[a.n] = 1
		switch {
		case c.Kind == records.Int64:
			c.i64[a.n] = f.Row
		case v == "" && !c.Required:
			c.valid[a.n], c.i32[a.n] = 0, 0
		default:
			c.i32[a.n] = c.words.addString(v)
		}
	}
	a.n++
}

func (w *worker) flushAside() error {
	a := &w.aside
	if a.n == 0 {
		return nil
	}
	if err := a.write(a.columns, a.n); err != nil {
		return err
	}
	a.n = 0
	return nil
}

// refuse sets a row aside.
func (w *worker) refuse(row int64, f fault) {
	out := Fault{File: filepath.Base(w.p.in.Path), Row: row, Column: f.at.column, Reason: reasonNames[f.reason], Kind: f.describe(), Expected: f.at.expected, Remedy: f.at.remedy}
	if a := advice[f.reason]; a.expected != "" {
		out.Expected = a.expected
	}
	if a := advice[f.reason]; a.remedy != "" {
		out.Remedy = a.remedy
	}
	w.refuseFault(f.reason, out)
}

func (w *worker) refuseBroken(b tabular.Broken) {
	w.refuseFault(brokenRow, Fault{File: filepath.Base(w.p.in.Path), Row: b.Row, Reason: reasonNames[brokenRow], Kind: b.Found, Expected: b.Expected, Remedy: b.Remedy})
}

func (w *worker) refuseFault(r reason, f Fault) {
	w.setAside++
	w.reasons[r]++
	w.aside.add(f)
	w.examples = firstRows(append(w.examples, f), 4*maxExamples)
}

// firstRows sorts faults by row once there are more than limit and keeps the
// first few.
func firstRows(faults []Fault, limit int) []Fault {
	if len(faults) <= limit {
		return faults
	}
	slices.SortFunc(faults, func(a, b Fault) int { return cmp.Compare(a.Row, b.Row) })
	return faults[:min(len(faults), maxExamples)]
}
