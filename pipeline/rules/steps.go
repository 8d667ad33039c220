package rules

import (
	"fmt"
	"slices"
)

// Steps are candidate thresholds of one flag, from the one that fires most to
// the one that fires least.
type Steps struct {
	// Flag and Condition are places in the set and in the flag, from 0. A
	// Condition of -1 has the flag itself as its only step.
	Flag, Condition int
	// Lower is whether the lower bound of the condition moves, else the upper.
	Lower bool
	// At are the thresholds in the finding's unit; a reading equal to one counts.
	At []string
}

// StepSet makes a set with one flag for each step, in their order: the flag of
// the old set with that one threshold. So the compiler that evaluates rules also
// says how many of a flag's candidate thresholds a record meets.
func StepSet(s *Set, all []Steps) (*Set, error) {
	out := &Set{File: s.File, ID: s.ID, Otherwise: s.Otherwise}
	for i, x := range all {
		if x.Flag < 0 || x.Flag >= len(s.Flags) || x.Condition >= len(s.Flags[x.Flag].All) {
			return nil, fmt.Errorf("steps %d: no condition %d of flag %d", i, x.Condition, x.Flag)
		}
		if x.Condition < 0 {
			out.Flags = append(out.Flags, s.Flags[x.Flag])
			continue
		}
		for _, at := range x.At {
			f := s.Flags[x.Flag]
			f.All = slices.Clone(f.All)
			if x.Lower {
				f.All[x.Condition].Lower = Bound{Text: at, Inclusive: true}
			} else {
				f.All[x.Condition].Upper = Bound{Text: at, Inclusive: true}
			}
			out.Flags = append(out.Flags, f)
		}
	}
	if len(out.Flags) > MaxFlags {
		return nil, fmt.Errorf("%d candidate thresholds, expected at most %d", len(out.Flags), MaxFlags)
	}
	return out, nil
}

// Without makes a set that lacks some flags, given by their places.
func Without(s *Set, flags []int) *Set {
	out := *s
	out.Flags = nil
	for i := range s.Flags {
		if !slices.Contains(flags, i) {
			out.Flags = append(out.Flags, s.Flags[i])
		}
	}
	return &out
}
