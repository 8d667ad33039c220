package walk

import (
	"context"
	"math"
	"math/bits"
	"slices"

	"hindcheck/pipeline/lanes"
)

// noTime is a time that is not on record.
const noTime = math.MaxInt64

// call is what a check needs of its call.
type call struct {
	key, episode   lanes.Key
	started, ended int64 // microseconds since 1970, or noTime
	species        int32
	exam           int32 // the last of its exams, counted from 1
	first          bool  // it opened its episode
	known          bool  // it is on record
	wanted         bool  // its checks are wanted row by row
	asked, read    bool  // its checks, its vet's readings have been walked
}

// exam is a vet's outcome of a call, whose time says which readings are its.
type exam struct {
	seen    int64
	treated int8  // 1 treatment had begun, 0 not
	next    int32 // another of the same call, counted from 1
}

// ahead is how many calls are fetched at a time.
const ahead = 512

// calls finds the calls of a month by their pseudonyms.
type calls struct {
	list    []call
	slots   []int32 // places in list, counted from 1, where the pseudonym says or behind
	exams   []exam
	species *lanes.Vocabulary
	wanted  map[lanes.Key]bool // episodes of which the checks are wanted

	near    []int32 // see touch
	touched int32
}

// read reads the calls of some files in place of those it had.
func (c *calls) read(ctx context.Context, paths []string) error {
	c.list, c.exams, c.species = c.list[:0], c.exams[:0], lanes.NewVocabulary()
	c.species.Number("") // not recorded
	c.room(0)
	for _, path := range paths {
		if err := c.readFile(ctx, path); err != nil {
			return err
		}
	}
	return nil
}

func (c *calls) readFile(ctx context.Context, path string) error {
	r, err := lanes.Open(path)
	if err != nil {
		return err
	}
	defer r.Close()
	key, episode, species := lanes.Keys(r, "call"), lanes.Keys(r, "episode"), lanes.ReadWords(r, "species", c.species.Number)
	kind := lanes.ReadWords(r, "contact_type", lanes.Closed("clinical"))
	started, ended := lanes.Times(r, "started_at"), lanes.Times(r, "ended_at")
	c.list = slices.Grow(c.list, int(r.Rows()))
	c.room(len(c.list) + int(r.Rows()))
	for {
		n, err := r.Next(ctx)
		if n == 0 || err != nil {
			return err
		}
		for i := range n {
			if i%ahead == 0 {
				c.touch(key.Values[i:min(i+ahead, n)])
			}
			wanted := len(c.wanted) > 0 && episode.Valid[i] && kind.At(i) == 0 && c.wanted[episode.Values[i]]
			c.add(call{key: key.Values[i], episode: episode.Values[i], wanted: wanted, started: timeOr(started, i), ended: timeOr(ended, i), species: max(species.At(i), 0),
				first: episode.Valid[i] && episode.Values[i] == key.Values[i], known: true})
		}
	}
}

func timeOr(l *lanes.Lane[int64], i int) int64 {
	if !l.Valid[i] {
		return noTime
	}
	return l.Values[i]
}

// room makes slots for n calls, at most half of them taken.
func (c *calls) room(n int) {
	size := 1 << bits.Len(uint(2*n))
	if n > 0 && size <= len(c.slots) {
		return
	}
	if size <= cap(c.slots) {
		c.slots = c.slots[:size]
		clear(c.slots)
	} else {
		c.slots = make([]int32, size)
	}
	for i := range c.list {
		c.slots[c.slot(c.list[i].key)] = int32(i + 1)
	}
}

// slot is where a call is, or where it would be.
func (c *calls) slot(key lanes.Key) int {
	at := home(key, len(c.slots))
	for c.slots[at] != 0 && c.list[c.slots[at]-1].key != key {
		at = (at + 1) & (len(c.slots) - 1)
	}
	return at
}

// touch fetches the slots and calls of some keys into the processor's cache: asked
// for one after another, each would be waited for.
func (c *calls) touch(keys []lanes.Key) {
	c.near = c.near[:0]
	for i := range keys {
		c.near = append(c.near, c.slots[home(keys[i], len(c.slots))])
	}
	for _, n := range c.near {
		if n > 0 {
			c.touched += c.list[n-1].species
		}
	}
}

func (c *calls) add(one call) *call {
	c.list = append(c.list, one)
	c.slots[c.slot(one.key)] = int32(len(c.list))
	return &c.list[len(c.list)-1]
}

// find returns a call, of which nothing is known if it is not on record. It holds
// until the next one is looked for.
func (c *calls) find(key lanes.Key) *call {
	if n := c.slots[c.slot(key)]; n > 0 {
		return &c.list[n-1]
	}
	c.room(len(c.list) + 1)
	return c.add(call{key: key, started: noTime, ended: noTime})
}

// readExams reads the outcomes by vets.
func (c *calls) readExams(ctx context.Context, paths []string) error {
	for _, path := range paths {
		if err := c.readExamsOf(ctx, path); err != nil {
			return err
		}
	}
	return nil
}

func (c *calls) readExamsOf(ctx context.Context, path string) error {
	r, err := lanes.Open(path)
	if err != nil {
		return err
	}
	defer r.Close()
	key, source := lanes.Keys(r, "call"), lanes.ReadWords(r, "source", lanes.Closed("vet"))
	seen, treated := lanes.Times(r, "seen_at"), lanes.Tris(r, "treatment_begun")
	for {
		n, err := r.Next(ctx)
		if n == 0 || err != nil {
			return err
		}
		for i := range n {
			if i%ahead == 0 {
				c.touch(key.Values[i:min(i+ahead, n)])
			}
			if source.At(i) != 0 || !key.Valid[i] || !seen.Valid[i] || !treated.Valid[i] {
				continue
			}
			if at := c.slots[c.slot(key.Values[i])]; at > 0 {
				one := &c.list[at-1]
				c.exams = append(c.exams, exam{seen.Values[i], treated.Values[i], one.exam})
				one.exam = int32(len(c.exams))
			}
		}
	}
}
