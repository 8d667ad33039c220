package intake

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"

	"hindcheck/pipeline/records"
)

// Where the rows of a file stand far apart (an export lists calls by case, and who rang
// again within days stands beside the first call), row by row whole row groups would be
// read again and again for a few rows each. Such a file is taken in spans of its order, as
// many rows as memory allows: what a span needs is sorted by where it stands, each row
// group is read once for it, and its rows are put in their places.

// piece is n rows of a part from row at on, which stand at place to of a span.
type piece struct {
	p     *part
	group int
	at    int64
	n, to int
}

// goApart begins to take the order in spans, in memory that row groups gave up.
func (w *Writer) goApart() {
	w.settleAll()
	for e := w.recent.Front(); e != nil; e = w.recent.Front() {
		w.drop(e.Value.(*group))
	}
	w.spare, w.room = nil, 0
	w.span, w.single = w.newGroup(), w.newGroup()
	for i := range w.span.columns {
		if c := &w.span.columns[i]; c.Kind == records.Text {
			c.column.words = newVocab(nil)
		}
	}
}

// nextCalls gives the next calls, where they are taken in spans those of one.
func (w *Writer) nextCalls(next func() (CallBatch, error)) (CallBatch, error) {
	all, err := next()
	for w.span != nil && err == nil && len(all.Rows) < w.most {
		var more CallBatch
		if more, err = next(); len(more.Rows) == 0 {
			break
		}
		for i := range more.Rows {
			if more.Rows[i].Episode >= 0 {
				more.Rows[i].Episode += int32(len(all.Episodes))
			}
		}
		all.Rows, all.Episodes = append(all.Rows, more.Rows...), append(all.Episodes, more.Episodes...)
	}
	return all, err
}

// callsApart appends the calls of a span.
func (w *Writer) callsApart(batch CallBatch, kinds []string) error {
	w.pieces = w.pieces[:0]
	for i, r := range batch.Rows {
		p, row, err := w.find(r)
		if err != nil {
			return err
		}
		if err := w.add(p, row, 1, i); err != nil {
			return err
		}
	}
	if err := w.fetch(len(batch.Rows)); err != nil {
		return err
	}
	for i, r := range batch.Rows {
		if err := w.call(r, w.span, i, kinds, batch.Episodes); err != nil {
			return err
		}
	}
	return nil
}

// next gives the next runs, where they are taken in spans those of one.
func (c *checkWriter) next() (out []Run, err error) {
	if c.span == nil {
		return c.in.Next()
	}
	for rows := 0; ; {
		if len(c.queue) == 0 {
			if c.queue, err = c.in.Next(); err != nil || len(c.queue) == 0 {
				return out, err
			}
		}
		for i, r := range c.queue {
			if rows += int(r.Rows); rows > c.most && len(out)+i > 0 {
				out, c.queue = append(out, c.queue[:i]...), c.queue[i:]
				return out, nil
			}
		}
		out, c.queue = append(out, c.queue...), nil
	}
}

// apart takes the runs of a span, behind those of the call at hand, which may go on.
func (c *checkWriter) apart(runs []Run) error {
	n := 0
	c.pieces, c.spanned = c.pieces[:0], c.spanned[:0]
	c.spanned = append(c.spanned, c.runs...)
	for _, r := range runs {
		p, err := c.partOf(r)
		if err != nil {
			return err
		}
		c.spanned = append(c.spanned, located{r, p, 0})
	}
	for i := range c.spanned {
		r := &c.spanned[i]
		r.place = n
		if err := c.add(r.p, r.First, int(r.Rows), n); err != nil {
			return err
		}
		n += int(r.Rows)
	}
	if err := c.fetch(n); err != nil {
		return err
	}
	c.runs, c.id = c.runs[:0], [16]byte{}
	for _, r := range c.spanned {
		if err := c.run(r); err != nil {
			return err
		}
	}
	return nil
}

// add adds n rows of a part, which stand at place to behind all others.
func (w *Writer) add(p *part, row int64, n, to int) error {
	if p.starts == nil {
		if err := p.open(); err != nil {
			return err
		}
	}
	group := p.groupOf(row)
	if group < 0 || row+int64(n) > p.starts[len(p.starts)-1] {
		return fmt.Errorf("read staged rows: %s has no row %d", p.Path, row)
	}
	if k := len(w.pieces) - 1; k >= 0 && w.pieces[k].p == p && w.pieces[k].group == group && w.pieces[k].at+int64(w.pieces[k].n) == row {
		w.pieces[k].n += n
		return nil
	}
	w.pieces = append(w.pieces, piece{p, group, row, n, to})
	return nil
}

// fetch fills the span with the n rows of the pieces, some columns at a time.
func (w *Writer) fetch(n int) error {
	w.settleAll()
	w.span.clear(n)
	if err := w.shut(func(p *part) bool { return slices.ContainsFunc(w.pieces, func(one piece) bool { return one.p == p }) }); err != nil {
		return err
	}
	slices.SortFunc(w.pieces, func(a, b piece) int {
		return cmp.Or(cmp.Compare(a.p.File, b.p.File), cmp.Compare(a.p.Part, b.p.Part), cmp.Compare(a.at, b.at))
	})
	for _, one := range w.pieces {
		if err := one.p.open(); err != nil {
			return err
		}
	}
	var wg sync.WaitGroup
	var next atomic.Int32
	errs := make([]error, len(w.span.columns))
	for range max(1, w.Threads) {
		wg.Go(func() {
			for c := int(next.Add(1)) - 1; c < len(errs); c = int(next.Add(1)) - 1 {
				errs[c] = w.fetchColumn(c, n)
			}
		})
	}
	wg.Wait()
	w.span.known()
	return errors.Join(errs...)
}

// fetchColumn fills a column of the span with its n rows, row group by row group.
func (w *Writer) fetchColumn(c, n int) error {
	from, to := &w.single.columns[c], &w.span.columns[c]
	for rest := w.pieces; len(rest) > 0; {
		first, k := rest[0], 1
		for k < len(rest) && rest[k].p == first.p && rest[k].group == first.group {
			k++
		}
		if err := first.p.rd.column(first.group, c, from); err != nil {
			return err
		}
		to.take(from, rest[:k], first.p.starts[first.group], n)
		rest = rest[k:]
	}
	return nil
}

// clear makes it n rows without values.
func (g *group) clear(n int) {
	g.n, g.tallies, g.tallied = n, nil, nil
	for i := range g.columns {
		c := &g.columns[i]
		c.absent = true
		if c.Kind == records.Text {
			c.column.words.reset()
		}
	}
}

// take puts pieces of a row group that begins at row start in their places among rows.
func (u *unpacked) take(from *unpacked, pieces []piece, start int64, rows int) {
	if u.absent && !from.absent {
		u.absent = false
		u.grow(rows)
		clear(u.valid[:rows])
	}
	for _, p := range pieces {
		at := int(p.at - start)
		switch {
		case u.absent:
		case from.absent:
			clear(u.valid[p.to : p.to+p.n])
		case u.Kind == records.Text:
			put(u.valid[p.to:p.to+p.n], from.valid[at:])
			from.words(&u.column, 0, p.to, at, p.n)
		default:
			u.copyFrom(&from.column, p.to, at, p.n)
		}
	}
}

// known makes the words of a span those that its numbers count among.
func (g *group) known() {
	for i := range g.columns {
		c := &g.columns[i]
		if c.Kind != records.Text {
			continue
		}
		c.dict, _ = c.column.words.list()
		for k := range c.to {
			c.to[k] = c.to[k][:0]
			for range c.dict {
				c.to[k] = append(c.to[k], -1)
			}
		}
	}
}
