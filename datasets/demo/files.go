package demo

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// lostMonth and lateMonth single out two deliveries of outcomes: the file of
// Brillowfen's practice that never arrives, and one of Tarnholt's that comes
// weeks late. Shorter lines scale them down.
func (c *calendar) lostMonth() int { return len(c.months) / 3 }
func (c *calendar) lateMonth() int { return len(c.months) / 2 }

// arrives returns the export month of the file that brings this outcome, -1 if
// none does: the file got lost, or the line's exports end before.
func (m *model) arrives(o *outcome) int {
	month := m.cal.month(o.noted)
	if month < 0 || o.noted >= m.cal.to.Unix() || o.feed == brillowfen && month == m.cal.lostMonth() {
		return -1
	}
	return month
}

// Kinds of export.
const (
	callsFile = iota
	checksFile
	outcomesFile // one a feed from here on
	numKinds     = outcomesFile + numFeeds
)

// export is one open file.
type export struct {
	w    *bufio.Writer
	c    io.Closer
	rows int64
	last []byte // last good row, for the one that is cut off
}

// shelf holds the exports that may still get rows. Units come in order of
// time, so a month's files are closed when the next month begins and memory
// depends on the number of feeds, not of calls.
type shelf struct {
	cal    *calendar
	create func(name string) (io.WriteCloser, error)
	open   [numKinds][]*export
	closed int // months before this one are closed
	names  []string
	rows   map[string]int64
	cut    int64
	spare  []*bufio.Writer
}

func newShelf(o Options, cal *calendar) (*shelf, error) {
	s := &shelf{cal: cal, create: o.Create, rows: map[string]int64{}}
	if s.create == nil {
		if o.Dir == "" {
			return nil, fmt.Errorf("%w: neither a folder nor a way to create files is given", ErrOptions)
		}
		if err := os.MkdirAll(o.Dir, 0o755); err != nil {
			return nil, fmt.Errorf("make the folder of the exports: %w", err)
		}
		s.create = func(name string) (io.WriteCloser, error) { return os.Create(filepath.Join(o.Dir, name)) }
	}
	for k := range s.open {
		s.open[k] = make([]*export, len(cal.months))
	}
	return s, nil
}

// name spells a file: kind, feed, month covered, day exported.
func (s *shelf) name(kind, month int) string {
	what := "calls"
	switch {
	case kind == checksFile:
		what = "checks"
	case kind >= outcomesFile:
		what = "outcomes-" + FeedIDs[kind-outcomesFile]
	}
	return s.named(what, month, s.exported(kind, month))
}

func (s *shelf) named(what string, month int, day int64) string {
	year, mon := s.cal.months[month]/100, s.cal.months[month]%100
	y, m, d := civil(day * 86400)
	return fmt.Sprintf("%s-%04d-%02d_exported-%04d-%02d-%02d.csv", what, year, mon, y, m, d)
}

// exported returns the local day, counted from 1970, on which a file is made:
// the third of the next month, the fifth for feeds of outcomes, one delivery
// late.
func (s *shelf) exported(kind, month int) int64 {
	first := s.cal.zone.local(s.cal.starts[month+1]) / 86400
	switch {
	case kind == outcomesFile+tarnholt && month == s.cal.lateMonth():
		return first + 38
	case kind >= outcomesFile:
		return first + 4
	}
	return first + 2
}

// add writes one row to a file, opening it with its header if need be.
func (s *shelf) add(kind, month int, row []byte) error {
	x := s.open[kind][month]
	if x == nil {
		if month < s.closed {
			return fmt.Errorf("row for %s came after the file was closed", s.name(kind, month))
		}
		var err error
		if x, err = s.begin(kind, month); err != nil {
			return err
		}
	}
	if _, err := x.w.Write(row); err != nil {
		return fmt.Errorf("write %s: %w", s.name(kind, month), err)
	}
	x.last = append(x.last[:0], row...)
	x.rows++
	return nil
}

func (s *shelf) begin(kind, month int) (*export, error) {
	name := s.name(kind, month)
	f, err := s.create(name)
	if err != nil {
		return nil, fmt.Errorf("create %s: %w", name, err)
	}
	x := &export{c: f}
	if n := len(s.spare); n > 0 {
		x.w, s.spare = s.spare[n-1], s.spare[:n-1]
		x.w.Reset(f)
	} else {
		x.w = bufio.NewWriterSize(f, 1<<16)
	}
	s.open[kind][month] = x
	header := headers[min(kind, outcomesFile)]
	if _, err := x.w.WriteString(header + "\n"); err != nil {
		return nil, fmt.Errorf("write %s: %w", name, err)
	}
	return x, nil
}

// advance closes the files of months before this one.
func (s *shelf) advance(month int) error {
	for ; s.closed < month; s.closed++ {
		for kind := range s.open {
			if err := s.finish(kind, s.closed); err != nil {
				return err
			}
		}
	}
	return nil
}

// cutEvery and cutFrom choose the months whose calls file ends in the middle
// of a row.
const (
	cutEvery = 6
	cutFrom  = 3
)

// finish closes one file. A file that got no row is delivered with its header
// alone, except the one that never arrives.
func (s *shelf) finish(kind, month int) error {
	if kind == outcomesFile+brillowfen && month == s.cal.lostMonth() {
		return nil
	}
	x := s.open[kind][month]
	if x == nil {
		var err error
		if x, err = s.begin(kind, month); err != nil {
			return err
		}
	}
	name := s.name(kind, month)
	if kind == callsFile && month%cutEvery == cutFrom && len(x.last) > 30 {
		if _, err := x.w.Write(x.last[:25]); err != nil {
			return fmt.Errorf("write %s: %w", name, err)
		}
		x.rows++
		s.cut++
	}
	err := errors.Join(x.w.Flush(), x.c.Close())
	if err != nil {
		return fmt.Errorf("close %s: %w", name, err)
	}
	s.spare = append(s.spare, x.w)
	s.names = append(s.names, name)
	s.rows[name] = x.rows
	s.open[kind][month] = nil
	return nil
}

// whole writes a file at once.
func (s *shelf) whole(name string, data []byte) error {
	f, err := s.create(name)
	if err != nil {
		return fmt.Errorf("create %s: %w", name, err)
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	s.names = append(s.names, name)
	return nil
}

// abandon closes whatever is open after an error.
func (s *shelf) abandon() {
	for k := range s.open {
		for _, x := range s.open[k] {
			if x != nil {
				x.c.Close()
			}
		}
	}
}
