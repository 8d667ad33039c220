package thresholds

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

// ErrNothing is wrapped by every refusal to write a proposal.
var ErrNothing = errors.New("nothing to propose")

// Proposal is a new version of the rules in force in which one threshold differs.
type Proposal struct {
	Text []byte
	// Flags lists the flags whose threshold moved, From and To say how.
	Flags    []string
	From, To string
}

// Propose writes the only choice of a result into the rules in force. It refuses,
// with the reason, where nothing could be chosen, where the choice is no threshold
// or the one in force, and where no flag has just these animals and this end.
func Propose(r *Result, meta queries.Meta, id string) (*Proposal, error) {
	g, c, err := only(r)
	if err != nil {
		return nil, err
	}
	if len(meta.RulesText) == 0 {
		return nil, fmt.Errorf("%w: the store holds no rules file; load one with ingest load --rules", ErrNothing)
	}
	if id == "" {
		id = meta.RuleSet + "_proposed"
	}
	p := &Proposal{From: g.Rule, To: c.Trial.Rule}
	var moves []rules.Move
	for _, end := range []struct {
		name  string
		lower bool
		has   bool
		at    float64
	}{
		{"high", true, c.threshold.HasUpper, c.threshold.Upper},
		{"low", false, c.threshold.HasLower, c.threshold.Lower},
	} {
		x := decides(g, end.lower)
		switch {
		case end.has && x == nil:
			return nil, fmt.Errorf("%w: no flag on a %s %s decides for %s at this cut by itself%s; add one to the rules first", ErrNothing, end.name, r.Finding, g.Name, whyNot(g))
		case !end.has && x != nil:
			return nil, fmt.Errorf("%w: the criterion prefers no threshold at the %s end, where flag %s has one; a flag is removed by hand or not at all", ErrNothing, end.name, x.Flag)
		case !end.has:
			continue
		}
		if len(x.species) > 0 && !covers(g.Species, x.species) || len(x.species) == 0 && g.Name != "all" {
			return nil, fmt.Errorf("%w: flag %s is meant for more species than %s; write a flag for each first", ErrNothing, x.Flag, strings.Join(g.Species, ", "))
		}
		moves = append(moves, rules.Move{Flag: x.flag, Condition: x.condition, Lower: end.lower, At: decimal(end.at, r.Decimals)})
		p.Flags = append(p.Flags, x.Flag)
	}
	p.Text, err = rules.Propose("rules in force", meta.RulesText, id, moves, meta.Dictionary)
	return p, err
}

// only finds the one group and the one choice that a proposal is about.
func only(r *Result) (*Group, *Choice, error) {
	if len(r.Groups) != 1 {
		names := []string{}
		for _, g := range r.Groups {
			names = append(names, g.Name)
		}
		return nil, nil, fmt.Errorf("%w: one --species at a time, expected one of %s", ErrNothing, strings.Join(names, ", "))
	}
	g := &r.Groups[0]
	if len(g.Choices) != 1 {
		return nil, nil, fmt.Errorf("%w: %d criteria, expected one", ErrNothing, len(g.Choices))
	}
	c := &g.Choices[0]
	switch {
	case c.Trial == nil:
		return nil, nil, fmt.Errorf("%w: nothing can be chosen: %s", ErrNothing, c.NotEstimable)
	case len(g.InForce) == 0:
		return nil, nil, fmt.Errorf("%w: no flag of the rules in force rests on %s for %s", ErrNothing, r.Finding, g.Name)
	case !c.threshold.HasLower && !c.threshold.HasUpper:
		return nil, nil, fmt.Errorf("%w: the criterion prefers to refer no animal for this finding", ErrNothing)
	case c.Trial.Rule == g.Rule:
		return nil, nil, fmt.Errorf("%w: the criterion chooses the threshold in force, %s", ErrNothing, g.Rule)
	case marksAll(g, c.threshold):
		return nil, nil, fmt.Errorf("%w: the criterion prefers to refer every animal, whatever the reading", ErrNothing)
	}
	return g, c, nil
}

func marksAll(g *Group, th threshold) bool {
	return !slices.ContainsFunc(g.fit.Totals, func(v valueTotal) bool { return !th.Positive(v.Value) })
}

// decides is the condition that sets one end of the rule in force.
func decides(g *Group, lower bool) *InForce {
	for i := range g.InForce {
		if x := &g.InForce[i]; x.Decides && x.lower == lower {
			return x
		}
	}
	return nil
}

// whyNot names the first reason why a flag on the finding does not decide.
func whyNot(g *Group) string {
	for _, x := range g.InForce {
		if x.Why != "" {
			return fmt.Sprintf(" (%s %s)", x.Flag, x.Why)
		}
	}
	return ""
}
