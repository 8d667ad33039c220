package walk

import (
	"slices"

	"hindcheck/pipeline/lanes"
)

// Clusters are the verified episodes of some months by animal, advisor or practice.
type Clusters struct {
	months []*Verified
	of     [][]int32 // of each month, the cluster of each episode
	n      int       // clusters
}

// ByAnimal, ByAdvisor and ByPractice put the episodes of some months together.
func ByAnimal(months []*Verified) *Clusters {
	return byKey(months, func(v *Verified) ([]int32, []lanes.Key) { return v.Animals, v.AnimalKeys })
}

// ByAdvisor is by the advisor of the first contact.
func ByAdvisor(months []*Verified) *Clusters {
	return byKey(months, func(v *Verified) ([]int32, []lanes.Key) { return v.Advisors, v.AdvisorKeys })
}

// ByPractice is by the practice of the outcome.
func ByPractice(months []*Verified) *Clusters {
	all := lanes.NewVocabulary()
	return byPlace(months, func(v *Verified) ([]int32, []int32) {
		numbers := make([]int32, len(v.PracticeNames))
		for i, name := range v.PracticeNames {
			numbers[i] = all.Number(name)
		}
		return v.Practices, numbers
	}, func() int { return len(all.All) })
}

func byKey(months []*Verified, column func(v *Verified) ([]int32, []lanes.Key)) *Clusters {
	var list []lanes.Key
	var p places
	return byPlace(months, func(v *Verified) ([]int32, []int32) {
		rows, keys := column(v)
		numbers := make([]int32, len(keys))
		for i, key := range keys {
			numbers[i] = p.number(&list, key)
		}
		return rows, numbers
	}, func() int { return len(list) })
}

// byPlace numbers clusters over all months: column gives the place of each episode's
// within its month, and the number of each place.
func byPlace(months []*Verified, column func(v *Verified) (rows, numbers []int32), n func() int) *Clusters {
	c := &Clusters{months: months}
	for _, v := range months {
		rows, numbers := column(v)
		of := make([]int32, len(rows))
		for i, at := range rows {
			of[i] = lanes.None
			if at != lanes.None {
				of[i] = numbers[at]
			}
		}
		c.of = append(c.of, of)
	}
	c.n = n()
	return c
}

// Totals are what a cluster shows: so many episodes of one need, of which so many count.
type Totals struct {
	Need            int8
	Episodes, Count int64
}

// episode is where an episode stands.
type episode struct{ month, row int32 }

// each calls alone with the episodes that are a cluster and need by themselves, which
// of animals most are, in their order, and then together with the others, cluster by
// cluster. need is need by a cut.
func (c *Clusters) each(need func(v *Verified) []int8, alone func(need int8, e episode), together func(need int8, list []episode)) {
	ends := make([]int32, 2*c.n+1)
	c.walk(need, func(slot int, _ episode) { ends[slot+1]++ })
	single := make([]bool, 2*c.n)
	for i := range 2 * c.n {
		if single[i] = ends[i+1] == 1; single[i] {
			ends[i+1] = 0
		}
		ends[i+1] += ends[i]
	}
	list, next := make([]episode, ends[2*c.n]), slices.Clone(ends)
	c.walk(need, func(slot int, e episode) {
		if single[slot] {
			alone(int8(slot%2), e)
			return
		}
		list[next[slot]] = e
		next[slot]++
	})
	for slot := range 2 * c.n {
		if ends[slot] < ends[slot+1] {
			together(int8(slot%2), list[ends[slot]:ends[slot+1]])
		}
	}
}

func (c *Clusters) walk(need func(v *Verified) []int8, f func(slot int, e episode)) {
	for m, v := range c.months {
		needs := need(v)
		for i, at := range c.of[m] {
			if at != lanes.None && needs[i] >= 0 {
				f(2*int(at)+int(needs[i]), episode{int32(m), int32(i)})
			}
		}
	}
}

// Advised counts the clusters by need, episodes, and those advised at or above cut.
func (c *Clusters) Advised(cut int) map[Totals]int64 {
	out := map[Totals]int64{}
	escalated := func(e episode) int { return bit(int(c.months[e.month].Level[e.row]) >= cut) }
	var singles [2][2]int64
	c.each(needAt(cut), func(need int8, e episode) { singles[need][escalated(e)]++ }, func(need int8, list []episode) {
		t := Totals{Need: need, Episodes: int64(len(list))}
		for _, e := range list {
			t.Count += int64(escalated(e))
		}
		out[t]++
	})
	for need, byAdvice := range singles {
		for count, n := range byAdvice {
			if n > 0 {
				out[Totals{int8(need), 1, int64(count)}] += n
			}
		}
	}
	return out
}

// needAt is need for care at a level.
func needAt(cut int) func(v *Verified) []int8 {
	if cut == 4 {
		return func(v *Verified) []int8 { return v.NeedEmergency }
	}
	return func(v *Verified) []int8 { return v.NeedSameDay }
}

// Flagged counts, for each of so many flags, the clusters by need, episodes on which
// the flag was assessed, and those of them on which it fired. Clusters in which it
// was assessed on none are left out.
func (c *Clusters) Flagged(cut, flags int) []map[Totals]int64 {
	out := make([]map[Totals]int64, flags)
	for i := range out {
		out[i] = map[Totals]int64{}
	}
	words := (flags + 63) / 64
	var singles single
	singles.begin(words)
	var fired, unknown tally
	c.each(needAt(cut), func(need int8, e episode) { singles.add(need, c.months[e.month], int(e.row)) }, func(need int8, list []episode) {
		for w := range words {
			fired, unknown = tally{}, tally{}
			for _, e := range list {
				v, at := c.months[e.month], int(e.row)*words+w
				fired.add(v.Fired[at])
				unknown.add(v.Unknown[at])
			}
			for i := 64 * w; i < min(64*w+64, flags); i++ {
				if assessed := int64(len(list)) - unknown.of(i-64*w); assessed > 0 {
					out[i][Totals{need, assessed, fired.of(i - 64*w)}]++
				}
			}
		}
	})
	singles.into(out)
	return out
}

// single counts clusters of one episode by need.
type single struct {
	words          int
	n              [2]int64
	fired, unknown [2][]tally
}

func (s *single) begin(words int) {
	s.words = words
	for need := range s.n {
		s.fired[need], s.unknown[need] = make([]tally, words), make([]tally, words)
	}
}

func (s *single) add(need int8, v *Verified, row int) {
	s.n[need]++
	for w := range s.words {
		unknown := v.Unknown[row*s.words+w]
		s.unknown[need][w].add(unknown)
		s.fired[need][w].add(v.Fired[row*s.words+w] &^ unknown)
	}
}

func (s *single) into(out []map[Totals]int64) {
	for need, n := range s.n {
		for i := range out {
			fired, assessed := s.fired[need][i/64].of(i%64), n-s.unknown[need][i/64].of(i%64)
			if fired > 0 {
				out[i][Totals{int8(need), 1, 1}] += fired
			}
			if assessed > fired {
				out[i][Totals{int8(need), 1, 0}] += assessed - fired
			}
		}
	}
}
