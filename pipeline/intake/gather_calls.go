package intake

import (
	"cmp"
	"fmt"
	"slices"

	"hindcheck/pipeline/records"
)

// Call is a staged call that enters a stored file.
type Call struct {
	// File and Row are its src_file and src_row.
	File int32
	Row  int64
	// Kind is the place of its contact kind in Calls.Kinds, -1 for none.
	Kind int32
	// Episode is the place of its episode in Calls.Episodes, or NoEpisode, or
	// OwnEpisode where the call itself names it.
	Episode int32
}

// Values of Call.Episode that are no place.
const (
	NoEpisode  = -1
	OwnEpisode = -2
)

// stretch is the kind of row group in which the call stands.
func (c Call) stretch() int {
	if c.Episode == OwnEpisode {
		return 0
	}
	return 1
}

// Calls is the content of one stored file of calls. Calls that are their own episode
// stand in row groups of their own, those and the others each in this order.
type Calls struct {
	Month, LoadNo int32
	Kinds         []string
	// Next gives the calls in order, some at a time; none are left when it gives none.
	Next func() (CallBatch, error)
}

// CallBatch is a stretch of calls, with the episodes that they name.
type CallBatch struct {
	Rows     []Call
	Episodes [][16]byte
}

// WriteCalls writes a stored file of calls; it returns the number of rows.
func (w *Writer) WriteCalls(path string, in Calls) (int64, error) {
	w.begin(path, in.Month, in.LoadNo)
	for {
		batch, err := w.nextCalls(in.Next)
		if err != nil || len(batch.Rows) == 0 {
			return w.end(err)
		}
		if err := w.calls(batch, in.Kinds); err != nil {
			return w.end(err)
		}
	}
}

// calls appends calls.
func (w *Writer) calls(batch CallBatch, kinds []string) error {
	for i, r := range batch.Rows {
		if w.far && w.span == nil {
			w.goApart()
		}
		if w.span != nil {
			return w.callsApart(CallBatch{batch.Rows[i:], batch.Episodes}, kinds)
		}
		p, row, err := w.find(r)
		if err != nil {
			return err
		}
		g, at, err := w.at(p, row)
		if err != nil {
			return err
		}
		if err := w.call(r, g, at, kinds, batch.Episodes); err != nil {
			return err
		}
	}
	return nil
}

// call appends a call that stands at a place of a group.
func (w *Writer) call(r Call, g *group, at int, kinds []string, episodes [][16]byte) error {
	w.sheet = &w.sheets[r.stretch()]
	n := w.n
	w.push(g, at, 1)
	kind, episode := &w.out[w.kind], &w.out[w.episode]
	if kind.valid[n] = 0; r.Kind >= 0 {
		kind.valid[n], kind.i32[n] = 1, kind.words.addString(kinds[r.Kind])
	}
	episode.valid[n] = 1
	switch id := episode.uuid[16*n : 16*n+16]; {
	case r.Episode == NoEpisode:
		episode.valid[n] = 0
	case r.Episode == OwnEpisode:
		copy(id, g.columns[w.key].uuid[16*at:])
	default:
		copy(id, episodes[r.Episode][:])
	}
	if w.n == w.group {
		return w.flush()
	}
	return nil
}

// find finds a call by the row of the export that it came from, in which the rows
// of a part rise.
func (w *Writer) find(r Call) (*part, int64, error) {
	for _, p := range w.byFile[r.File] {
		if !p.used {
			if err := w.sourceRows(p); err != nil {
				return nil, 0, err
			}
			p.used, p.last = true, 0
		}
		if row, ok := p.rowOf(r.Row); ok {
			return p, row, nil
		}
	}
	return nil, 0, fmt.Errorf("read staged rows: no row %d of export %d", r.Row, r.File)
}

// ascent is rows of a part, from row at on, that come from rows of the export that
// follow each other, from row src on: a batch, as far as no row of it was refused.
type ascent struct{ src, at int64 }

// sourceRows reads the column of source rows of a part. All of a large month would take
// more memory than row groups do.
func (w *Writer) sourceRows(p *part) error {
	if err := p.open(); err != nil || p.source != nil {
		return err
	}
	place := w.from.Index(records.SrcRow)
	u := unpacked{column: column{Column: w.from.Columns[place]}}
	for g := range p.rd.groups() {
		n := int(p.starts[g+1] - p.starts[g])
		if err := p.rd.column(g, place, &u); err != nil {
			return err
		}
		for i, src := range u.i64[:n] {
			at := p.starts[g] + int64(i)
			if k := len(p.source) - 1; k < 0 || src-p.source[k].src != at-p.source[k].at {
				p.source = append(p.source, ascent{src, at})
			}
		}
	}
	return nil
}

// rowOf is the row of a part that comes from a row of the export, mostly the next one.
func (p *part) rowOf(src int64) (int64, bool) {
	k := p.last
	if !p.covers(k, src) {
		if k++; !p.covers(k, src) {
			k, _ = slices.BinarySearchFunc(p.source, src, func(s ascent, src int64) int { return cmp.Compare(s.src, src+1) })
			if k--; !p.covers(k, src) {
				return 0, false
			}
		}
	}
	p.last = k
	return p.source[k].at + src - p.source[k].src, true
}

// covers reports whether a row of the export is in an ascent.
func (p *part) covers(k int, src int64) bool {
	if k < 0 || k >= len(p.source) || src < p.source[k].src {
		return false
	}
	end := p.starts[len(p.starts)-1]
	if k+1 < len(p.source) {
		end = p.source[k+1].at
	}
	return src-p.source[k].src < end-p.source[k].at
}
