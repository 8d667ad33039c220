package rules

import (
	"fmt"
	"slices"
	"strings"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
)

// gaps looks for findings on which a species of the set has no flag, and for
// findings on which no flag rests.
func (c *checker) gaps() {
	species := c.species()
	var unused []string
	for k := range c.p.Dict.Findings {
		var covered []string
		used := false
		for i := range c.regions {
			if c.dead[i] || c.regions[i].about(k) == nil {
				continue
			}
			used = true
			if covered = append(covered, c.p.flags[i].Species...); len(c.p.flags[i].Species) == 0 {
				covered = species
				break
			}
		}
		id := c.p.Dict.Findings[k].ID
		if !used {
			unused = append(unused, id)
			continue
		}
		gap := slices.DeleteFunc(slices.Clone(species), func(s string) bool { return slices.Contains(covered, s) })
		if len(gap) > 0 {
			c.out = append(c.out, Notice{Kind: SpeciesGap, Severity: Note, Remedy: remedies[SpeciesGap],
				Text: fmt.Sprintf("no flag rests on %s for %s", id, listOf(gap, "and"))})
		}
	}
	if len(unused) > 0 {
		c.out = append(c.out, Notice{Kind: NotAskedAbout, Severity: Note, Remedy: remedies[NotAskedAbout],
			Text: "no flag rests on " + listOf(unused, "and")})
	}
}

// species are those that some flag names.
func (c *checker) species() []string {
	var out []string
	for i := range c.p.flags {
		out = append(out, c.p.flags[i].Species...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// endGaps looks for species that have a flag at one end of a finding that is
// bad at both, such as a high temperature, and none at the other.
func (c *checker) endGaps() {
	for k := range c.p.Dict.Findings {
		f := &c.p.Dict.Findings[k]
		if f.Kind != findings.Number || f.Bad != findings.Both {
			continue
		}
		for _, s := range c.species() {
			low, high := c.ends(k, s)
			if low == high {
				continue
			}
			missing := "low"
			if low {
				missing = "high"
			}
			c.out = append(c.out, Notice{Kind: EndGap, Severity: Note, Remedy: remedies[EndGap],
				Text: fmt.Sprintf("no flag rests on a %s %s of a %s, and one on the other end does", missing, f.ID, s)})
		}
	}
}

// ends reports whether some flag meant for a species fires on low, and on high,
// readings of a finding.
func (c *checker) ends(finding int, species string) (low, high bool) {
	for i := range c.regions {
		a := c.regions[i].about(finding)
		if a == nil || c.dead[i] || len(c.p.flags[i].Species) > 0 && !slices.Contains(c.p.flags[i].Species, species) {
			continue
		}
		from, to := c.recorded(&c.p.flags[i], a)
		low = low || a.low <= from
		high = high || a.high >= to
	}
	return low, high
}

// unknowns lists the emergency flags that do not count when nobody could look.
func (c *checker) unknowns() {
	var ids []string
	for i := range c.p.flags {
		if f := c.p.flags[i].Flag; f.Demands == codes.Emergency && !f.Raise {
			ids = append(ids, f.ID)
		}
	}
	if len(ids) > 0 {
		shown := listOf(ids, "and")
		if len(ids) > 12 {
			shown = fmt.Sprintf("%s and %d more", strings.Join(ids[:12], ", "), len(ids)-12)
		}
		c.out = append(c.out, Notice{Kind: UnknownIgnored, Severity: Note, Remedy: remedies[UnknownIgnored],
			Text: "a sign that nobody looked for does not count (when_unknown: leave) for " + shown})
	}
}

// Draft begins a text that a person still has to write. Check calls such a text
// wrong, so that a draft cannot be taken for a decision.
const Draft = "TO BE FILLED IN"

// drafts looks for texts that still hold the words of a draft.
func (c *checker) drafts() {
	s := c.p.Set
	for _, x := range []struct{ key, text string }{{"title", s.Title}, {"owner", s.Owner}, {"reason", s.Reason}, {"status", s.Status}} {
		if strings.HasPrefix(x.text, Draft) {
			c.out = append(c.out, Notice{Kind: NotFilledIn, Severity: Wrong, Pos: s.HeadPos[x.key], Remedy: remedies[NotFilledIn],
				Text: fmt.Sprintf("%s still says %q", x.key, x.text)})
		}
	}
	for i := range c.p.flags {
		if f := c.p.flags[i].Flag; strings.HasPrefix(f.Why, Draft) || strings.HasPrefix(f.Title, Draft) {
			c.add(i, NotFilledIn, Wrong, "", "its title or why still holds the words of a draft")
		}
	}
}
