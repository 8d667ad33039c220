// Package timingtest times the sides of a benchmark that compares two ways to
// the same result, by the clock and by the processor: on a shared machine the
// clock tells little, on an idle one it is what a user waits for.
//
// A benchmark makes a Times, has each part of each side measured once an
// iteration, lets the sides take turns at going first (Turns), and reports
// medians over the iterations with Report and Ratio:
//
//	PART-s, PART-wall-s   seconds of processor time, and by the clock
//	A/B, A/B-wall         the ratio of the medians of two parts
package timingtest

import (
	"slices"
	"testing"
	"time"
)

// Spent is the time that a part took.
type Spent struct{ Processor, Wall time.Duration }

// Plus adds up what two steps of one part took.
func (s Spent) Plus(t Spent) Spent { return Spent{s.Processor + t.Processor, s.Wall + t.Wall} }

// Times collects what each part took, one value an iteration.
type Times struct {
	names []string
	parts map[string][]Spent
}

// New returns empty times.
func New() *Times { return &Times{parts: map[string][]Spent{}} }

// Now is a point in time from which Since measures.
func Now() (at Point) { return Point{Processor(), time.Now()} }

// Point is a point in time, by the processor and by the clock.
type Point struct {
	processor time.Duration
	clock     time.Time
}

// Since is the time since p.
func (p Point) Since() Spent { return Spent{Processor() - p.processor, time.Since(p.clock)} }

// Add notes what a part took in one iteration.
func (t *Times) Add(part string, s Spent) {
	if t.parts[part] == nil {
		t.names = append(t.names, part)
	}
	t.parts[part] = append(t.parts[part], s)
}

// Run runs and times a part.
func (t *Times) Run(part string, f func()) {
	from := Now()
	f()
	t.Add(part, from.Since())
}

// Turns runs the sides in their order in even iterations and the other way round
// in odd ones, so that neither always finds the files warm.
func Turns(i int, sides ...func()) {
	if i%2 == 1 {
		sides = slices.Clone(sides)
		slices.Reverse(sides)
	}
	for _, side := range sides {
		side()
	}
}

// Median is the median of a part, each time by itself; 0 for a part that never ran.
func (t *Times) Median(part string) Spent {
	return Spent{median(t.parts[part], func(s Spent) time.Duration { return s.Processor }),
		median(t.parts[part], func(s Spent) time.Duration { return s.Wall })}
}

func median(all []Spent, of func(Spent) time.Duration) time.Duration {
	v := make([]time.Duration, len(all))
	for i, s := range all {
		v[i] = of(s)
	}
	slices.Sort(v)
	if n := len(v); n > 0 {
		return (v[(n-1)/2] + v[n/2]) / 2
	}
	return 0
}

// Report reports the medians of all parts.
func (t *Times) Report(b *testing.B) {
	b.Helper()
	for _, name := range t.names {
		m := t.Median(name)
		b.ReportMetric(m.Processor.Seconds(), name+"-s")
		b.ReportMetric(m.Wall.Seconds(), name+"-wall-s")
	}
}

// Ratio reports how many times the median of one part is that of another.
func (t *Times) Ratio(b *testing.B, over, under string) {
	b.Helper()
	o, u := t.Median(over), t.Median(under)
	b.ReportMetric(o.Processor.Seconds()/u.Processor.Seconds(), over+"/"+under)
	b.ReportMetric(o.Wall.Seconds()/u.Wall.Seconds(), over+"/"+under+"-wall")
}
