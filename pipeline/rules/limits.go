package rules

import (
	"math"

	"hindcheck/pipeline/findings"
)

// Limit is one numeric condition of a flag, in stored numbers.
type Limit struct {
	// Flag and Condition are places in the set and in the flag, from 0.
	Flag, Condition int
	// Low and High are the first and last stored number that meet it. HasLow and
	// HasHigh say which ends the file states.
	Low, High       int32
	HasLow, HasHigh bool
	// Alone is whether the flag asks about nothing but this finding, so that the
	// threshold decides by itself.
	Alone bool
}

// Limits lists the conditions on one number, in the order of the file. A coded
// or unknown finding has none.
func (p *Program) Limits(finding string) []Limit {
	index := p.Dict.Index(finding)
	if index < 0 || p.Dict.Findings[index].Kind != findings.Number {
		return nil
	}
	var out []Limit
	for i := range p.flags {
		f := &p.flags[i]
		for k := range f.conds {
			c := &f.conds[k]
			if c.index != index {
				continue
			}
			l := Limit{Flag: i, Condition: k, Low: c.low, High: c.high, HasLow: f.All[k].Lower.Set(), HasHigh: f.All[k].Upper.Set(), Alone: true}
			for _, other := range f.conds {
				l.Alone = l.Alone && other.index == index
			}
			out = append(out, l)
		}
	}
	return out
}

// Unlimited is Limit.High where a condition states no upper end.
const Unlimited = math.MaxInt32
