package rules

import "hindcheck/pipeline/codes"

// Explained is one flag on one record, condition by condition: why it fired,
// and if it did not, what was missing.
type Explained struct {
	// Result is whether the flag fires, Limits the conjunction of what limits
	// it beside its conditions (species, sex, age and the like).
	Result, Limits codes.Tri
	// Conditions in the order of the rules file.
	Conditions []Held
}

// Held is one condition of a flag on one record.
type Held struct {
	// Finding is the id that the condition reads, Value its stored number,
	// negative if it was not assessed.
	Finding string
	Value   int32
	Result  codes.Tri
	// Short is how far a number is from meeting the condition, in the
	// finding's unit; 0 for a code and where the condition is met or unknown.
	Short float64
}

// Explain says why flag i fires on a record or does not.
func (p *Program) Explain(i int, r *Record) Explained {
	f := &p.flags[i]
	out := Explained{Result: f.eval(r), Limits: f.limits(r)}
	for j := range f.conds {
		c := &f.conds[j]
		v := r.value(c.index)
		h := Held{Finding: p.Dict.Findings[c.index].ID, Value: v, Result: c.eval(v)}
		if !c.code && h.Result == codes.No && c.low <= c.high {
			h.Short = float64(max(c.low-v, v-c.high)) / float64(p.Dict.Findings[c.index].Scale)
		}
		out.Conditions = append(out.Conditions, h)
	}
	return out
}

// JustShort reports whether one number alone keeps the flag from firing, and
// by no more than what the dictionary calls near.
func (p *Program) JustShort(x Explained) bool {
	if x.Limits != codes.Yes {
		return false
	}
	short := 0
	for _, c := range x.Conditions {
		switch f, _ := p.Dict.Finding(c.Finding); {
		case c.Result == codes.Yes:
		case c.Result == codes.No && c.Short > 0 && c.Short <= f.Near.By+tiny:
			short++
		default:
			return false
		}
	}
	return short == 1
}

// tiny allows for the binary form of decimal distances.
const tiny = 1e-9
