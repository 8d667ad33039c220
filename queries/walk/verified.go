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
