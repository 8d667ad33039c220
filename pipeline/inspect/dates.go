package inspect

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hindcheck/pipeline/source"
)

// layoutTally tries one layout on every cell of a column.
type layoutTally struct {
	layout      source.Layout
	text        string
	bare        bool // digits only, as many other numbers are
	counts      bool // numbers of days or seconds: any number of the right size fits
	misfits     int64
	loose       int64 // fits only with seconds that the layout does not have
	first, last int64 // microseconds since 1970
	fitted      bool
}

// Years that a date of an advice line can lie in; outside, a layout is taken
// not to fit.
var (
	earliest = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC).UnixMicro()
	latest   = time.Date(2060, 1, 1, 0, 0, 0, 0, time.UTC).UnixMicro()
)

// dayLayouts are the usual ways of writing a day, stricter ones before those
// that read the same texts and more.
var dayLayouts = []string{
	"2006-01-02", "2006/01/02", "2006.01.02",
	"02.01.2006", "2.1.2006", "02.01.06", "2.1.06",
	"02/01/2006", "2/1/2006", "02/01/06", "2/1/06",
	"01/02/2006", "1/2/2006", "01/02/06", "1/2/06",
	"02-01-2006", "2-1-2006", "02-01-06", "01-02-2006", "1-2-2006", "01-02-06", "01.02.2006", "1.2.2006", "01.02.06", "1.2.06",
	"06-01-02", "06/01/02",
	"02 Jan 2006", "2 Jan 2006", "02-Jan-2006", "2-Jan-2006", "02-Jan-06", "02Jan2006", "Jan 02, 2006", "Jan 2, 2006", "2 January 2006", "January 2, 2006",
}

// clockLayouts follow a day.
var clockLayouts = []string{"", " 15:04", " 15:04:05", "T15:04", "T15:04:05", ", 15:04", " 03:04 PM", " 3:04 PM", " 3:04:05 PM",
	"T15:04:05Z07:00", "T15:04Z07:00", " 15:04:05-07:00", "T15:04:05-0700", " 15:04:05 -0700"}

// bareLayouts are written in digits alone.
var bareLayouts = []string{"20060102", "200601021504", "20060102150405", "unix", "unix-ms", "serial-1900"}

var allLayouts = makeLayouts()

func makeLayouts() (out []layoutTally) {
	add := func(text string, bare bool) {
		l, err := source.ParseLayout(text)
		if err != nil {
			panic(fmt.Sprintf("inspect: layout %q: %v", text, err)) // our own list
		}
		out = append(out, layoutTally{layout: l, text: text, bare: bare, counts: l.Counts()})
	}
	for _, d := range dayLayouts {
		for _, c := range clockLayouts {
			add(d+c, false)
		}
	}
	for _, b := range bareLayouts {
		add(b, true)
	}
	return out
}

func newLayouts() []layoutTally { return slices.Clone(allLayouts) }

// fits reports whether a cell follows the layout.
func (l *layoutTally) fits(cell []byte) bool {
	m, ok := l.layout.Parse(cell)
	return ok && !m.Seconds && m.Micros >= earliest && m.Micros < latest && !l.bare
}

// add counts one cell.
func (l *layoutTally) add(cell []byte) {
	m, ok := l.layout.Parse(cell)
	if !ok || m.Micros < earliest || m.Micros >= latest {
		l.misfits++
		return
	}
	if m.Seconds {
		l.loose++
	}
	if !l.fitted || m.Micros < l.first {
		l.first = m.Micros
	}
	if !l.fitted || m.Micros > l.last {
		l.last = m.Micros
	}
	l.fitted = true
}

// bestLayouts returns every layout that fits all cells of a column or, where
// none does, those with the fewest misfits if these are few. Of two layouts
// that read the column alike only the stricter is kept.
func bestLayouts(tried []layoutTally, filled int64, keep func(*layoutTally) bool) []LayoutFit {
	allowed := int64((1 - mostly) * float64(filled))
	best := allowed + 1
	for i := range tried {
		if keep(&tried[i]) && tried[i].fitted {
			best = min(best, tried[i].misfits)
		}
	}
	if best > allowed {
		return nil
	}
	var chosen []*layoutTally
	for i := range tried {
		l := &tried[i]
		if l.fitted && keep(l) && (l.misfits == best || best > 0 && l.misfits <= allowed) {
			chosen = append(chosen, l)
		}
	}
	if slices.ContainsFunc(chosen, func(l *layoutTally) bool { return l.loose == 0 }) {
		chosen = slices.DeleteFunc(chosen, func(l *layoutTally) bool { return l.loose > 0 })
	}
	var out []LayoutFit
	for i, l := range chosen {
		if !slices.ContainsFunc(chosen[:i], func(s *layoutTally) bool { return padded(s.text) == padded(l.text) && s.misfits <= l.misfits }) {
			out = append(out, LayoutFit{l.text, l.misfits, day(l.first), day(l.last)})
		}
	}
	slices.SortStableFunc(out, func(a, b LayoutFit) int { return int(a.Misfits - b.Misfits) })
	return out
}

// padded writes a layout with days and months of two digits and one offset from
// UTC, so that layouts that read the same texts are known to be alike.
func padded(text string) string {
	return strings.NewReplacer("2006", "2006", "02", "02", "01", "01", "06", "06", "15", "15", "03", "03", "04", "04", "05", "05", "Z07:00", "Z", "-07:00", "Z", "-0700", "Z",
		"1", "01", "2", "02", "3", "03", "January", "Jan").Replace(text)
}

func day(micros int64) string { return time.UnixMicro(micros).UTC().Format(time.DateOnly) }
