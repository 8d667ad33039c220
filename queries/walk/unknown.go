package walk

import (
	"math/bits"

	"hindcheck/pipeline/codes"
)

// Unknown counts the episodes on which a flag was unknown, by why it was.
type Unknown struct {
	Flag                              int
	State                             string
	Level, NeedEmergency, NeedSameDay int8
	Mature                            bool
	N                                 int64
}

// The states of a finding that leave a flag unknown, the most telling first, and
// behind them the animal of which a property is missing.
const (
	declined = iota
	notPossible
	unreadable
	stoppedEarly
	leftOut
	notDescribed
	assessed // no such state
)

var stateNames = [...]string{"declined", "not_possible", "unreadable", "stopped_early", "not_asked", "animal_not_described"}

// stateOf numbers the states by the numbers that stand for them in cases.
var stateOf = map[int32]int{codes.Declined: declined, codes.NotPossible: notPossible, codes.StoppedEarly: stoppedEarly, codes.NotAsked: leftOut}

// classesOf gives the state of each number of a finding; numbers behind are readings.
func classesOf(f Finding) []uint8 {
	out := []uint8{assessed, assessed, assessed, assessed}
	for number, state := range stateOf {
		out[number+lift] = uint8(state)
	}
	for _, code := range f.Unreadable {
		for len(out) <= code+lift {
			out = append(out, assessed)
		}
		out[code+lift] = unreadable
	}
	return out
}

// mask adds the flags that read a finding to those of its state, of each row.
func (w *caseWalker) mask(classes []uint8, readers uint64, numbers []int32) {
	for i, v := range numbers {
		if at := int(v + lift); at < len(classes) {
			w.masks[i][classes[at]] |= readers
		}
	}
}

// countUnknown counts the flags of a word that are unknown, by the first state that
// one of their findings has.
func (w *caseWalker) countUnknown(word int, unknown []uint64) {
	all := ^uint64(0) >> max(0, 64*(word+1)-w.flags)
	for i, left := range unknown {
		left &= all
		base := (word*levels*needs*needs*2 + int(w.judged[i])) * assessed * 64
		masks := &w.masks[i]
		masks[notDescribed] = left
		for state := 0; state < assessed && left != 0; state++ {
			these := left & masks[state]
			left &^= these
			counts := w.unknown[base+state*64 : base+state*64+64]
			for ; these != 0; these &= these - 1 {
				counts[bits.TrailingZeros64(these)&63]++
			}
		}
	}
}

// unknownRows lists the unknown flags that were counted.
func (w *caseWalker) unknownRows() (out []Unknown) {
	for i, n := range w.unknown {
		if n == 0 {
			continue
		}
		flag, state, c := i%64, i/64%assessed, i/64/assessed
		u := Unknown{State: stateNames[state], Mature: c%2 == 1, N: n}
		c /= 2
		u.NeedSameDay, c = int8(c%needs)-1, c/needs
		u.NeedEmergency, c = int8(c%needs)-1, c/needs
		u.Level, u.Flag = int8(c%levels), c/levels*64+flag
		out = append(out, u)
	}
	return out
}
