package intake

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"hindcheck/pipeline/records"
)

// Run is a run of staged checks that enters a stored file.
type Run struct {
	File, Part int32
	First      int64
	Rows       int32
	// Vet says that they are the vet's readings; Species is the species of the
	// call, as Tally counts it.
	Vet     bool
	Species int32
}

// Tally counts the readings of one finding by species: all, those below Low and
// those above High.
type Tally struct {
	Low, High       []float64
	N, Below, Above []int64
	Known           []bool // whether the species has limits
}

// Reading names one staged reading.
type Reading struct {
	File    int32
	Row     int64
	Finding string
	Seq     int16
}

// Refused are readings that are passed over. Its zero value is none.
type Refused struct {
	readings map[Reading]bool
	rows     map[int32][]int64 // of each export, in order
}

// NewRefused collects readings.
func NewRefused(list []Reading) Refused {
	r := Refused{map[Reading]bool{}, map[int32][]int64{}}
	for _, one := range list {
		r.readings[one] = true
		r.rows[one.File] = append(r.rows[one.File], one.Row)
	}
	for _, rows := range r.rows {
		slices.Sort(rows)
	}
	return r
}

// among reports whether some reading of rows first to last of an export is refused.
func (r Refused) among(file int32, first, last int64) bool {
	rows := r.rows[file]
	at, _ := slices.BinarySearch(rows, first)
	return at < len(rows) && rows[at] <= last
}

// Checks is the content of one stored file of checks: runs in the order of
// the calls, those of a call together. Of a call's runs, those of the vet and
// the others each by themselves, the ones of the latest export enter, and of
// exports of one time those of the last.
type Checks struct {
	Month, LoadNo int32
	// Next gives the runs in order, some at a time; none are left when it gives none.
	Next func() ([]Run, error)
	// Refused readings are passed over.
	Refused Refused
	// Usual gives the tally of a finding, nil where readings are not counted.
	Usual func(finding string) *Tally
}

// Entered counts the rows of an export that a file took, and those that it did
// not take because of a later export of the call, or a later row of its finding
// and number.
type Entered struct{ New, Within int64 }

// WriteChecks writes a stored file of checks, those of a call in order of vet,
// seq and finding. It returns the rows by export.
func (w *Writer) WriteChecks(path string, in Checks) (map[int32]Entered, error) {
	w.begin(path, in.Month, in.LoadNo)
	c := checkWriter{Writer: w, in: in, booked: map[int32]Entered{}, call: w.from.Index("call"), seq: w.from.Index("seq"),
		finding: w.from.Index("finding"), number: w.from.Index("value_number"), row: w.from.Index(records.SrcRow), exported: w.from.Index(records.ExportedAt)}
	_, err := w.end(c.all())
	return c.booked, err
}

// checkWriter carries the writing of one file of checks.
type checkWriter struct {
	*Writer
	in     Checks
	booked map[int32]Entered
	// runs are those of the call at hand, whose pseudonym is id; queue those that
	// Next gave and no span has taken yet.
	id    [16]byte
	runs  []located
	queue []Run
	// spanned are the runs of a span.
	spanned []located
	// Places of columns in a staged part.
	call, seq, finding, number, row, exported int
	winners                                   []int
	rows                                      []checkRow
}

// located is a run with where it stands: in a part, and where runs are taken in spans
// at a place of the span.
type located struct {
	Run
	p     *part
	place int
}

// checkRow is a check with what it is sorted by.
type checkRow struct {
	run     int
	row     int64
	vet     bool
	seq     int16
	finding string
	srcRow  int64
}

// all takes the runs call by call.
func (c *checkWriter) all() error {
	for {
		runs, err := c.next()
		if err != nil {
			return err
		}
		if len(runs) == 0 {
			return c.one()
		}
		if c.span != nil {
			err = c.apart(runs)
		} else {
			err = c.held(runs)
		}
		if err != nil {
			return err
		}
	}
}

// held takes runs from row groups in memory. Where calls prove to stand far apart, those
// that are left are queued for a span.
func (c *checkWriter) held(runs []Run) error {
	for i, r := range runs {
		p, err := c.partOf(r)
		if err != nil {
			return err
		}
		if err := c.run(located{r, p, 0}); err != nil {
			return err
		}
		if c.far && len(c.runs) == 1 { // a call begins
			c.runs, c.queue = c.runs[:0], runs[i:]
			c.goApart()
			return nil
		}
	}
	return nil
}

func (c *checkWriter) partOf(r Run) (*part, error) {
	p, ok := c.parts[[2]int32{r.File, r.Part}]
	if !ok {
		return nil, fmt.Errorf("read staged rows: no part %d of export %d", r.Part, r.File)
	}
	return p, nil
}

// run takes a run, and before it the call that it ends.
func (c *checkWriter) run(r located) error {
	g, at, err := c.stands(r, r.First)
	if err != nil {
		return err
	}
	next := [16]byte(g.columns[c.call].uuid[16*at:])
	if next != c.id {
		if err := c.one(); err != nil {
			return err
		}
		c.runs = c.runs[:0]
	}
	c.id, c.runs = next, append(c.runs, r)
	return nil
}

// stands returns where a row of a run is in memory.
func (c *checkWriter) stands(r located, row int64) (*group, int, error) {
	if c.span != nil {
		return c.span, r.place + int(row-r.First), nil
	}
	return c.at(r.p, row)
}

// one writes the checks of the call at hand. Most calls have one run, which is in order.
func (c *checkWriter) one() error {
	if len(c.runs) == 1 {
		r := c.runs[0]
		g, at, err := c.stands(r, r.First)
		if err != nil {
			return err
		}
		if c.inOrder(g, at, r.Run) {
			return c.take(g, at, int(r.Rows), 0)
		}
	}
	if err := c.latest(); err != nil {
		return err
	}
	if err := c.sorted(); err != nil {
		return err
	}
	for i, r := range c.rows {
		if i+1 < len(c.rows) && r.sameKey(c.rows[i+1]) {
			c.book(r.run, Entered{Within: 1})
			continue
		}
		g, at, err := c.stands(c.runs[r.run], r.row)
		if err != nil {
			return err
		}
		if err := c.take(g, at, 1, r.run); err != nil {
			return err
		}
	}
	return nil
}

// inOrder reports whether a run rises in seq and finding, and none of it is refused.
func (c *checkWriter) inOrder(g *group, at int, r Run) bool {
	n := int(r.Rows)
	if rows := g.columns[c.row].i64[at : at+n]; len(c.in.Refused.rows) > 0 && c.in.Refused.among(r.File, slices.Min(rows), slices.Max(rows)) {
		return false
	}
	seq, finding := g.columns[c.seq].i16[at:at+n], &g.columns[c.finding]
	for i := 1; i < n; i++ {
		if seq[i] < seq[i-1] || seq[i] == seq[i-1] && finding.dict[finding.i32[at+i]] <= finding.dict[finding.i32[at+i-1]] {
			return false
		}
	}
	return true
}

// latest finds the runs of a call that come from the winning export, and books
// the others.
func (c *checkWriter) latest() error {
	c.winners = c.winners[:0]
	at, file := [2]int64{math.MinInt64, math.MinInt64}, [2]int32{-1, -1}
	for pass := range 2 {
		for i, r := range c.runs {
			g, row, err := c.stands(r, r.First)
			if err != nil {
				return err
			}
			exported, who := g.columns[c.exported].i64[row], 0
			if r.Vet {
				who = 1
			}
			switch {
			case pass == 0 && (exported > at[who] || exported == at[who] && r.File > file[who]):
				at[who], file[who] = exported, r.File
			case pass == 0:
			case exported == at[who] && r.File == file[who]:
				c.winners = append(c.winners, i)
			default:
				c.book(i, Entered{Within: int64(r.Rows)})
			}
		}
	}
	return nil
}

// sorted puts the checks of a call in order, of equal keys the last row last.
func (c *checkWriter) sorted() error {
	c.rows = c.rows[:0]
	for _, i := range c.winners {
		r := c.runs[i]
		for row := r.First; row < r.First+int64(r.Rows); row++ {
			g, at, err := c.stands(r, row)
			if err != nil {
				return err
			}
			f := &g.columns[c.finding]
			one := checkRow{i, row, r.Vet, g.columns[c.seq].i16[at], f.dict[f.i32[at]], g.columns[c.row].i64[at]}
			if c.in.Refused.readings[Reading{r.File, one.srcRow, one.finding, one.seq}] {
				continue
			}
			c.rows = append(c.rows, one)
		}
	}
	slices.SortStableFunc(c.rows, func(a, b checkRow) int {
		if a.vet != b.vet {
			if a.vet {
				return 1
			}
			return -1
		}
		return cmp.Or(cmp.Compare(a.seq, b.seq), cmp.Compare(a.finding, b.finding), cmp.Compare(a.srcRow, b.srcRow))
	})
	return nil
}

func (r checkRow) sameKey(o checkRow) bool {
	return r.vet == o.vet && r.seq == o.seq && r.finding == o.finding
}

// take appends n rows of a group to the file.
func (c *checkWriter) take(g *group, at, n, run int) error {
	for n > 0 {
		k := min(n, c.Writer.group-c.n)
		c.push(g, at, k)
		c.tally(g, at, k, c.runs[run].Species)
		c.book(run, Entered{New: int64(k)})
		if at, n = at+k, n-k; c.n == c.Writer.group {
			if err := c.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (c *checkWriter) book(run int, e Entered) {
	file := c.runs[run].File
	b := c.booked[file]
	b.New += e.New
	b.Within += e.Within
	c.booked[file] = b
}

// tally counts the numbers among n rows.
func (c *checkWriter) tally(g *group, at, n int, species int32) {
	number, finding := &g.columns[c.number], &g.columns[c.finding]
	if c.in.Usual == nil || number.absent {
		return
	}
	for i := at; i < at+n; i++ {
		if number.valid[i] == 0 {
			continue
		}
		t := c.usual(g, finding, finding.i32[i])
		if t == nil || !t.Known[species] {
			continue
		}
		t.N[species]++
		if v := number.f64[i]; v < t.Low[species] {
			t.Below[species]++
		} else if v > t.High[species] {
			t.Above[species]++
		}
	}
}

func (c *checkWriter) usual(g *group, finding *unpacked, word int32) *Tally {
	if g.tallies == nil {
		g.tallies, g.tallied = make([]*Tally, len(finding.dict)), make([]bool, len(finding.dict))
	}
	if !g.tallied[word] {
		g.tallies[word], g.tallied[word] = c.in.Usual(finding.dict[word]), true
	}
	return g.tallies[word]
}
