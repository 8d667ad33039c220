package queries

import (
	"fmt"
	"slices"
	"strings"
)

// flagWord is one word of 64 flags, First to Last-1, with the states that make
// them unknown.
type flagWord struct {
	Word, First, Last int
	States            []flagState
}

// flagState is a state of findings. Mask is an SQL expression on cases: the bits
// of the flags that read a finding in this state. A flag that is unknown is so
// for the first state, in the order of flagStates, that one of its findings has.
type flagState struct{ Name, Mask string }

// flagStates are the states by how much they tell: an attempt tells more than a
// question that was never put. Unreadable is a word of the finding.
var flagStates = []struct {
	name string
	code int
}{{"declined", -3}, {"not_possible", -2}, {"unreadable", 0}, {"stopped_early", -4}, {"not_asked", -1}}

// flagWords lists the words of flags with the masks of their states: every
// finding is compared once, however many flags read it.
func (d *DB) flagWords() []flagWord {
	var out []flagWord
	for first := 0; first < len(d.meta.Flags); first += 64 {
		w := flagWord{Word: first / 64, First: first, Last: min(first+64, len(d.meta.Flags))}
		readers := d.readers(w)
		for _, s := range flagStates {
			w.States = append(w.States, flagState{s.name, d.stateMask(readers, s.code)})
		}
		out = append(out, w)
	}
	return out
}

// readers gives for each finding the bits of the flags of a word that read it.
func (d *DB) readers(w flagWord) []uint64 {
	out := make([]uint64, len(d.meta.Findings))
	for i, f := range d.meta.Flags[w.First:w.Last] {
		for j, x := range d.meta.Findings {
			if slices.Contains(f.Findings, x.ID) {
				out[j] |= 1 << i
			}
		}
	}
	return out
}

func (d *DB) stateMask(readers []uint64, code int) string {
	parts := []string{"0::UBIGINT"}
	for j, f := range d.meta.Findings {
		test := fmt.Sprintf("%s = %d", column(f.ID), code)
		if code == 0 {
			test = unreadable(f)
		}
		if readers[j] != 0 && test != "" {
			parts = append(parts, fmt.Sprintf("CASE WHEN %s THEN %d::UBIGINT ELSE 0::UBIGINT END", test, readers[j]))
		}
	}
	return "(" + strings.Join(parts, " | ") + ")"
}

// unreadable says that a finding has a word that cannot be judged; empty if it
// has no such word.
func unreadable(f Finding) string {
	var at []string
	for i, c := range f.Codes {
		if slices.Contains(f.Unreadable, c) {
			at = append(at, fmt.Sprint(i+1))
		}
	}
	if len(at) == 0 {
		return ""
	}
	return fmt.Sprintf("%s IN (%s)", column(f.ID), strings.Join(at, ", "))
}
