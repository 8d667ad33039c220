package main

import (
	"regexp"
	"strconv"
	"strings"
)

// result is what one benchmark reported: figures by unit.
type result struct {
	name    string
	figures map[string]float64
}

var (
	benchLine = regexp.MustCompile(`^(Benchmark\S+)\s+\d+\s+(.*)$`)
	// peakLine is what tests of memory log: so many calls, so many MB.
	peakLine = regexp.MustCompile(`: ([0-9]+ calls.*): peak of ([0-9]+) MB`)
	skipLine = regexp.MustCompile(`_test\.go:\d+: (needs .*)$`)
)

// readResults finds results in the output of go test, and why one was skipped.
func readResults(output string) (results []result, skipped string) {
	for _, text := range strings.Split(output, "\n") {
		text = strings.TrimSpace(text)
		if m := benchLine.FindStringSubmatch(text); m != nil {
			r := result{m[1], map[string]float64{}}
			words := strings.Fields(m[2])
			for i := 0; i+1 < len(words); i += 2 {
				if x, err := strconv.ParseFloat(words[i], 64); err == nil {
					r.figures[words[i+1]] = x
				}
			}
			results = append(results, r)
		} else if m := peakLine.FindStringSubmatch(text); m != nil {
			if mb, err := strconv.ParseFloat(m[2], 64); err == nil {
				results = append(results, result{m[1], map[string]float64{"peak-MB": mb}})
			}
		} else if m := skipLine.FindStringSubmatch(text); m != nil {
			skipped = m[1]
		}
	}
	return results, skipped
}

// first is the first of the units, with blanks between them, that was reported.
func (r result) first(units string) (x float64, ok bool) {
	for _, u := range strings.Fields(units) {
		if x, ok = r.figures[u]; ok {
			return x, true
		}
	}
	return 0, false
}

// state is how a line came out.
type state int

const (
	stateDone state = iota
	stateSkipped
	stateFailed
)

// row is one line of the table, filled.
type row struct {
	line
	size         string // what the benchmark's name says of its size
	mine, theirs *float64
	value        *float64 // what the goal is for
	state        state
	why          string
}

// met says whether the goal was met; false without a goal.
func (r row) met() bool {
	if r.value == nil || r.goal == 0 {
		return false
	}
	if r.atLeast {
		return *r.value >= r.goal
	}
	return *r.value <= r.goal
}

func (w work) failed(why string) (out []row) {
	for _, l := range w.lines {
		out = append(out, row{line: l, state: stateFailed, why: why})
	}
	return out
}

// rows fills the lines from the output of go test.
func (w work) rows(output string) []row {
	results, skipped := readResults(output)
	if len(results) == 0 {
		if skipped == "" {
			return w.failed("reported nothing")
		}
		var out []row
		for _, l := range w.lines {
			out = append(out, row{line: l, state: stateSkipped, why: skipped})
		}
		return out
	}
	return w.rowsOf(results)
}

func (w work) rowsOf(results []result) (out []row) {
	for _, l := range w.lines {
		found := false
		for _, r := range results {
			if !strings.Contains(r.name, l.within) {
				continue
			}
			if filled, ok := l.fill(r); ok {
				out, found = append(out, filled), true
			}
		}
		if !found {
			out = append(out, row{line: l, state: stateFailed, why: "not reported"})
		}
	}
	return out
}

// fill takes a line's figures out of a result; ok is false where it does not
// report what the line is about.
func (l line) fill(r result) (out row, ok bool) {
	out = row{line: l, size: sizeOf(r.name)}
	pick := func(units string) *float64 {
		if x, ok := r.first(units); ok {
			return &x
		}
		return nil
	}
	out.mine, out.theirs, out.value = pick(l.ours), pick(l.theirs), pick(l.ratio)
	if l.ratio == "" {
		out.value = out.mine
	}
	return out, out.value != nil
}

// sizeOf reads the size off a benchmark's name, such as calls=500000.
func sizeOf(name string) string {
	for _, part := range strings.FieldsFunc(name, func(r rune) bool { return r == '/' || r == '-' }) {
		if key, n, ok := strings.Cut(part, "="); ok && (key == "calls" || key == "values") {
			return n + " " + key
		}
	}
	if strings.Contains(name, " calls") {
		return name
	}
	return ""
}
