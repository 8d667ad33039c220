package walk

import (
	"time"

	"hindcheck/pipeline/lanes"
)

// Pair is what the owner read and what the vet read of the same sign.
type Pair struct {
	Finding string
	// Comparable: the exam was in time and is known to have come before treatment.
	Comparable             bool
	OwnerCode, VetCode     string   // "" for a number
	OwnerNumber, VetNumber *float64 // nil for a code
	N                      int64
}

// pair is a Pair by the numbers of its words.
type pair struct {
	finding    int32
	comparable bool
	owner, vet reading
}

// reading is a word, None for none, or a number.
type reading struct {
	code   int32
	number float64
	has    bool
}

// pairs counts pairs of readings.
type pairs struct {
	words  *lanes.Vocabulary
	within int64 // microseconds
	counts map[pair]int64
	apart  bool
}

func (p *pairs) begin(within time.Duration) {
	p.words, p.within, p.counts, p.apart = lanes.NewVocabulary(), within.Microseconds(), map[pair]int64{}, false
}

// add counts the signs of a call that both read.
func (p *pairs) add(all *calls, one *call, run []check) {
	if !one.known {
		return
	}
	for i := range run {
		if c := &run[i]; c.vet && c.state == int8(done) && !readBefore(run[:i], c.finding) {
			p.addSign(all, one, run, c.finding)
		}
	}
}

func readBefore(run []check, finding int32) bool {
	for i := range run {
		if c := &run[i]; c.vet && c.state == int8(done) && c.finding == finding {
			return true
		}
	}
	return false
}

// addSign counts a sign: the last reading of the call is the one that the advice
// rested on; the first exam compares best. What has no place or time stands behind.
func (p *pairs) addSign(all *calls, one *call, run []check, finding int32) {
	owner, vet := latest{}, latest{}
	for i := range run {
		c := &run[i]
		switch {
		case c.finding != finding || c.state != int8(done):
		case c.vet:
			vet.add(c, -c.put)
		default:
			owner.add(c, place(c))
		}
	}
	if !owner.any {
		return
	}
	seen := -vet.at
	inTime := one.started != noTime && seen >= one.started && seen-one.started <= p.within
	p.counts[pair{finding, inTime && before(all.treated(one, seen)), owner.reading, vet.reading}]++
}

// before reports whether an exam is known to have come before treatment.
func before(treated *bool) bool { return treated != nil && !*treated }

// place is the place of a check, the first without one.
func place(c *check) int64 {
	if c.seq == noSeq {
		return -1
	}
	return int64(c.seq)
}

// latest is the reading that stands last; word and number may come from different
// checks, since either may be missing.
type latest struct {
	reading
	any          bool
	at, numberAt int64
}

func (l *latest) add(c *check, at int64) {
	if !l.any || at > l.at {
		l.any, l.at, l.code = true, at, c.code
	}
	if c.hasNumber && (!l.has || at > l.numberAt) {
		l.has, l.numberAt, l.number = true, at, c.number
	}
}

// rows are the pairs that occur, in no order.
func (p *pairs) rows(a *alike) []Pair {
	var out []Pair
	for k, n := range p.counts {
		out = append(out, Pair{Finding: a.findings.All[k.finding], Comparable: k.comparable, OwnerCode: p.words.Word(k.owner.code), VetCode: p.words.Word(k.vet.code),
			OwnerNumber: k.owner.value(), VetNumber: k.vet.value(), N: n})
	}
	return out
}

func (r reading) value() *float64 {
	if !r.has {
		return nil
	}
	return &r.number
}
