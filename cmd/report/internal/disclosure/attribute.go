package disclosure

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// OtherRare is the value that joins rare ones.
const OtherRare = "other_rare"

// Suppressed is the word of a suppressed cell, and of every cell of a column
// whose level is all.
const Suppressed = "suppressed"

// attribute is a quasi-identifier with its recorded values and its levels.
type attribute struct {
	column Column
	values []string
	place  map[string]int
	levels []level
}

// level maps each recorded value to a label.
type level struct {
	name   string
	of     []int
	labels []string
	// loss is the share of information lost, 0 to 1.
	loss float64
}

// openRare are the columns whose rare values are joined: those of words, whose
// order means nothing.
var openRare = []string{"species", "breed_group", "complaint", "site", "ruleset"}

// newAttribute builds the levels of one column from how many records and
// persons have each recorded value. anchor is the last month (yyyymm) of the
// period under review, at which longer periods end.
func newAttribute(c Column, records, persons map[string]int64, rareBelow int64, anchor int) attribute {
	a := attribute{column: c, place: map[string]int{}}
	for v := range records {
		a.values = append(a.values, v)
	}
	slices.SortFunc(a.values, byNumber)
	for i, v := range a.values {
		a.place[v] = i
	}
	base := a.entropy(records, func(v string) string { return v })
	for _, name := range c.Levels {
		label := c.labeller(name, anchor)
		if slices.Contains(openRare, c.Name) && name != "all" {
			label = joinRare(label, a.values, persons, rareBelow)
		}
		l := level{name: name, of: make([]int, len(a.values))}
		for i, v := range a.values {
			at := slices.Index(l.labels, label(v))
			if at < 0 {
				at = len(l.labels)
				l.labels = append(l.labels, label(v))
			}
			l.of[i] = at
		}
		if base > 0 {
			l.loss = max(0, 1-a.entropy(records, label)/base)
		}
		// A level that tells as much apart as a finer one would only be tried twice.
		if n := len(a.levels); n == 0 || len(l.labels) < len(a.levels[n-1].labels) {
			a.levels = append(a.levels, l)
		}
	}
	return a
}

// byNumber orders numbers as such and words after them.
func byNumber(a, b string) int {
	x, errX := strconv.Atoi(a)
	y, errY := strconv.Atoi(b)
	if errX == nil && errY == nil {
		return x - y
	}
	if a < b {
		return -1
	}
	if a > b {
		return 1
	}
	return 0
}

func (a attribute) entropy(records map[string]int64, label func(string) string) float64 {
	by, total := map[string]int64{}, int64(0)
	for _, v := range a.values {
		by[label(v)] += records[v]
		total += records[v]
	}
	h := 0.0
	for _, n := range by {
		if n > 0 {
			p := float64(n) / float64(total)
			h -= p * math.Log(p)
		}
	}
	return h
}

func joinRare(label func(string) string, values []string, persons map[string]int64, below int64) func(string) string {
	by := map[string]int64{}
	for _, v := range values {
		by[label(v)] += persons[v]
	}
	return func(v string) string {
		if l := label(v); v != "" && by[l] < below {
			return OtherRare
		} else {
			return l
		}
	}
}

// labeller says how a level of a column writes a recorded value; "" is not
// recorded and stays so at every level but all.
func (c Column) labeller(name string, anchor int) func(string) string {
	keep := func(f func(string) string) func(string) string {
		return func(v string) string {
			if v == "" {
				return ""
			}
			return f(v)
		}
	}
	switch name {
	case "all":
		return func(string) string { return Suppressed }
	case "groups":
		return keep(func(v string) string {
			if g, ok := c.Groups[v]; ok {
				return g
			}
			return OtherRare
		})
	case "fine":
		return keep(func(v string) string { return band(v, c.Fine) })
	case "coarse":
		return keep(func(v string) string { return band(v, c.Coarse) })
	case "month":
		return keep(func(v string) string { return block(v, 1, anchor) })
	case "quarter":
		return keep(func(v string) string { return block(v, 3, anchor) })
	case "half_year":
		return keep(func(v string) string { return block(v, 6, anchor) })
	case "year":
		return keep(func(v string) string { return block(v, 12, anchor) })
	}
	return func(v string) string { return v }
}

// band writes the band of a number: "0-5" months, "132+" without upper end.
func band(v string, edges []int) string {
	n, err := strconv.Atoi(v)
	if err != nil {
		return v
	}
	low := 0
	for _, e := range edges {
		if n < e {
			return fmt.Sprintf("%d-%d", low, e-1)
		}
		low = e
	}
	return fmt.Sprintf("%d+", low)
}

// block writes the period of size months that holds month v (yyyymm), one of
// those that end at the anchor: 2026-07, or 2026-06/2026-08.
func block(v string, size, anchor int) string {
	month, err := strconv.Atoi(v)
	if err != nil {
		return v
	}
	serial := func(yyyymm int) int { return yyyymm/100*12 + yyyymm%100 - 1 }
	text := func(serial int) string { return fmt.Sprintf("%04d-%02d", serial/12, serial%12+1) }
	if size == 1 {
		return text(serial(month))
	}
	back := serial(anchor) - serial(month)
	blocks := int(math.Floor(float64(back) / float64(size)))
	last := serial(anchor) - blocks*size
	return text(last-size+1) + "/" + text(last)
}
