package walk

import (
	"encoding/binary"
	"math/bits"

	"hindcheck/pipeline/lanes"
)

// Verified are the mature episodes of a month whose need is known, one after another:
// what clusters are counted by.
type Verified struct {
	// Animals, Advisors and Practices are places in the lists below, None without.
	Animals, Advisors, Practices []int32
	AnimalKeys, AdvisorKeys      []lanes.Key
	PracticeNames                []string
	// Of care within the day and at once: 1 needed, 0 not, -1 not known.
	NeedSameDay, NeedEmergency []int8
	Level                      []int8
	// Fired and Unknown are words of the bits of flags, as many for each episode.
	Fired, Unknown []uint64
}

// verifiedRows are the further columns of a file.
type verifiedRows struct {
	animal, advisor *lanes.Lane[lanes.Key]
	practice        lanes.Words
	fired           []*lanes.Lane[uint64]
}

// verifier gathers verified episodes.
type verifier struct {
	Verified
	animals, advisors places
	practices         *lanes.Vocabulary
}

// add appends row i, of which level and needs are known.
func (v *verifier) add(r *caseRows, i int) {
	v.Animals = append(v.Animals, v.animals.of(&v.AnimalKeys, r.animal, i))
	v.Advisors = append(v.Advisors, v.advisors.of(&v.AdvisorKeys, r.advisor, i))
	v.Practices = append(v.Practices, r.practice.At(i))
	v.NeedSameDay, v.NeedEmergency = append(v.NeedSameDay, int8(r.needSameDay.Values[i])), append(v.NeedEmergency, int8(r.needEmergency.Values[i]))
	v.Level = append(v.Level, int8(r.level.Values[i]))
	for w := range r.fired {
		v.Fired, v.Unknown = append(v.Fired, r.fired[w].Values[i]), append(v.Unknown, r.unknown[w].Values[i])
	}
}

// places numbers pseudonyms in the order in which they come: slots hold places in a
// list, counted from 1, where the pseudonym says or behind.
type places struct{ slots []int32 }

// of is the place of the pseudonym of row i.
func (p *places) of(list *[]lanes.Key, l *lanes.Lane[lanes.Key], i int) int32 {
	if !l.Valid[i] {
		return lanes.None
	}
	return p.number(list, l.Values[i])
}

func (p *places) number(list *[]lanes.Key, key lanes.Key) int32 {
	if 2*len(*list) >= len(p.slots) {
		p.slots = make([]int32, max(1024, 4*len(p.slots)))
		for i, k := range *list {
			p.slots[p.slot(*list, k)] = int32(i + 1)
		}
	}
	at := p.slot(*list, key)
	if p.slots[at] == 0 {
		*list = append(*list, key)
		p.slots[at] = int32(len(*list))
	}
	return p.slots[at] - 1
}

func (p *places) slot(list []lanes.Key, key lanes.Key) int {
	at := home(key, len(p.slots))
	for p.slots[at] != 0 && list[p.slots[at]-1] != key {
		at = (at + 1) & (len(p.slots) - 1)
	}
	return at
}

// home is the slot, of so many, where a pseudonym says that it is.
func home(key lanes.Key, slots int) int {
	h := binary.LittleEndian.Uint64(key[:8]) ^ bits.RotateLeft64(binary.LittleEndian.Uint64(key[8:]), 29)
	return int(h*0x9e3779b97f4a7c15>>32) & (slots - 1) // the golden ratio spreads keys that differ in few bits
}

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

// each calls f with the episodes of each cluster and need, need by a cut.
func (c *Clusters) each(need func(v *Verified) []int8, f func(need int8, list []episode)) {
	ends := make([]int32, 2*c.n+1)
	c.walk(need, func(slot int, _ episode) { ends[slot+1]++ })
	for i := range 2 * c.n {
		ends[i+1] += ends[i]
	}
	list, next := make([]episode, ends[2*c.n]), append([]int32(nil), ends...)
	c.walk(need, func(slot int, e episode) {
		list[next[slot]] = e
		next[slot]++
	})
	for slot := range 2 * c.n {
		if ends[slot] < ends[slot+1] {
			f(int8(slot%2), list[ends[slot]:ends[slot+1]])
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
	c.each(needAt(cut), func(need int8, list []episode) {
		t := Totals{Need: need, Episodes: int64(len(list))}
		for _, e := range list {
			t.Count += int64(bit(int(c.months[e.month].Level[e.row]) >= cut))
		}
		out[t]++
	})
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
	sums := make([]struct{ fired, unknown int64 }, 64*words)
	var singles single
	singles.begin(words)
	c.each(needAt(cut), func(need int8, list []episode) {
		if len(list) == 1 {
			singles.add(need, c.months[list[0].month], int(list[0].row))
			return
		}
		clear(sums)
		for _, e := range list {
			v := c.months[e.month]
			for w := range words {
				eachBit(v.Fired[int(e.row)*words+w], func(b int) { sums[64*w+b].fired++ })
				eachBit(v.Unknown[int(e.row)*words+w], func(b int) { sums[64*w+b].unknown++ })
			}
		}
		for i := range out {
			if assessed := int64(len(list)) - sums[i].unknown; assessed > 0 {
				out[i][Totals{need, assessed, sums[i].fired}]++
			}
		}
	})
	singles.into(out)
	return out
}

func eachBit(word uint64, f func(b int)) {
	for ; word != 0; word &= word - 1 {
		f(bits.TrailingZeros64(word))
	}
}

// single counts clusters of one episode, which most animals are, by need.
type single struct {
	words          int
	n              [2]int64
	fired, unknown [2][]int64
}

func (s *single) begin(words int) {
	s.words = words
	for need := range s.n {
		s.fired[need], s.unknown[need] = make([]int64, 64*words), make([]int64, 64*words)
	}
}

func (s *single) add(need int8, v *Verified, row int) {
	s.n[need]++
	for w := range s.words {
		unknown := v.Unknown[row*s.words+w]
		eachBit(unknown, func(b int) { s.unknown[need][64*w+b]++ })
		eachBit(v.Fired[row*s.words+w]&^unknown, func(b int) { s.fired[need][64*w+b]++ })
	}
}

func (s *single) into(out []map[Totals]int64) {
	for need, n := range s.n {
		for i := range out {
			fired, assessed := s.fired[need][i], n-s.unknown[need][i]
			if fired > 0 {
				out[i][Totals{int8(need), 1, 1}] += fired
			}
			if assessed > fired {
				out[i][Totals{int8(need), 1, 0}] += assessed - fired
			}
		}
	}
}
