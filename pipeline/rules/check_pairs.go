package rules

import (
	"fmt"
	"slices"
)

// partners are the flags that one flag is compared with to its disadvantage. Of
// each kind one is named and the others are counted.
type partners struct{ twins, shadows, overlaps others }

type others struct{ first, count int }

func (o *others) add(j int) {
	if o.count == 0 {
		o.first = j
	}
	o.count++
}

// pairs compares every two flags of which one asks about the first finding of
// the other; without that neither can lie within the other.
func (c *checker) pairs() {
	byFinding := map[int][]int{}
	all := make([]partners, len(c.regions))
	for i := range c.regions {
		if c.dead[i] {
			continue
		}
		var seen []int
		for k := range c.regions[i].answers {
			seen = append(seen, byFinding[c.regions[i].answers[k].index]...)
		}
		if len(c.regions[i].answers) > 1 {
			slices.Sort(seen)
			seen = slices.Compact(seen)
		}
		for _, j := range seen {
			c.compare(i, j, all)
		}
		for k := range c.regions[i].answers {
			at := c.regions[i].answers[k].index
			byFinding[at] = append(byFinding[at], i)
		}
	}
	for i := range all {
		c.pair(i, all[i].twins, Contradiction, Wrong, "has the conditions of %s but demands %s instead of %s")
		c.pair(i, all[i].shadows, Shadowed, Doubtful, "changes no level: whenever it fires, so does %s, and this demands %s where that demands %s")
		c.pair(i, all[i].overlaps, Overlap, Note, "fires on some of the same answers as %s; they demand %s and %s")
	}
}

// compare notes what flag i and the earlier flag j are to each other.
func (c *checker) compare(i, j int, all []partners) {
	a, b := &c.regions[i], &c.regions[j]
	in, out := a.within(b), b.within(a)
	switch {
	case in && out && c.p.flags[i].Demands != c.p.flags[j].Demands:
		all[i].twins.add(j)
	case in && c.hides(j, i):
		all[i].shadows.add(j)
	case out && c.hides(i, j):
		all[j].shadows.add(i)
	case !in && !out && a.sameFindings(b) && a.meets(b):
		all[i].overlaps.add(j)
	}
}

// hides reports whether a flag that lies within flag i changes no level because
// of it: it demands no more, and is not the one of the two that raises when unknown.
func (c *checker) hides(i, within int) bool {
	wide, narrow := c.p.flags[i].Flag, c.p.flags[within].Flag
	return narrow.Demands <= wide.Demands && (!narrow.Raise || wide.Raise)
}

func (c *checker) pair(i int, o others, kind NoticeKind, sev Severity, format string) {
	if o.count == 0 {
		return
	}
	other := c.p.flags[o.first].Flag
	text := fmt.Sprintf(format, other.ID, c.p.flags[i].Demands, other.Demands)
	if o.count > 1 {
		text += fmt.Sprintf(" (and likewise with %d more)", o.count-1)
	}
	c.add(i, kind, sev, other.ID, "%s", text)
}
