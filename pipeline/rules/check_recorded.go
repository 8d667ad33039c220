package rules

import "slices"

// Use is how often a flag came out on the records of a store, of the species
// that it is meant for.
type Use struct{ Fired, Unknown, RuledOut int64 }

// Asked is how often a finding was answered for a species.
type Asked struct {
	Finding, Species   string
	Answered, Episodes int64
}

// hardlyShare is below what share of answers a question counts as hardly ever
// asked: at one call in fifty even a year of a busy line says little.
const hardlyShare = 0.02

// CheckRecorded says what a set's flags did on records: uses in the order of
// the flags, asked in any order. A flag that never fired on a few hundred
// records may still be right, so nothing here is more than doubtful.
func CheckRecorded(s *Set, uses []Use, asked []Asked) []Notice {
	c := checker{p: &Program{Set: s}}
	for i := range s.Flags {
		c.p.flags = append(c.p.flags, newFlag(&s.Flags[i]))
		if i < len(uses) {
			c.use(i, uses[i])
		}
		for k := range s.Flags[i].All {
			cond := &s.Flags[i].All[k]
			if answered, episodes := answeredOf(asked, cond.Finding, s.Flags[i].Species); float64(answered) < hardlyShare*float64(episodes) {
				c.addAt(cond.Pos, i, HardlyAsked, Doubtful, "", "rests on %s, which was answered in %d of %d episodes of its species", cond.Finding, answered, episodes)
			}
		}
	}
	return c.out
}

// answeredOf adds up how often a finding was answered for the species listed,
// or for all.
func answeredOf(asked []Asked, finding string, species []string) (answered, episodes int64) {
	for _, a := range asked {
		if a.Finding == finding && (len(species) == 0 || slices.Contains(species, a.Species)) {
			answered, episodes = answered+a.Answered, episodes+a.Episodes
		}
	}
	return answered, episodes
}

// use judges how often one flag came out.
func (c *checker) use(i int, u Use) {
	decided := u.Fired + u.RuledOut
	switch {
	case decided == 0 && u.Unknown == 0:
		return
	case u.Fired == 0:
		c.add(i, NeverFired, Doubtful, "", "fired on none of %d episodes (%d ruled out, %d not decided)", decided+u.Unknown, u.RuledOut, u.Unknown)
	case u.RuledOut == 0:
		c.add(i, AlwaysFired, Doubtful, "", "fired on all %d episodes on which it could be decided", decided)
	}
	if f := c.p.flags[i]; f.Raise && u.Unknown > 10*max(u.Fired, 1) {
		c.add(i, RaisesBlindly, Doubtful, "", "counts %s on %d episodes where nobody looked, and fired on %d", f.Demands, u.Unknown, u.Fired)
	}
}
