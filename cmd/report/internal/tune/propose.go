package tune

import (
	"fmt"
	"strings"

	"hindcheck/cmd/report/internal/thresholds"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

// Propose writes the chosen thresholds into the rules in force, as
// thresholds.Propose does. It refuses, with the reason, where nothing was chosen
// or nothing moves, and to leave out a flag.
func Propose(r *Result, meta queries.Meta, id string) (*thresholds.Proposal, error) {
	switch {
	case r.Chosen == nil:
		return nil, fmt.Errorf("%w: nothing can be chosen: %s", thresholds.ErrNothing, r.NotEstimable)
	case len(r.moves) == 0:
		return nil, fmt.Errorf("%w: the criterion chooses the thresholds in force", thresholds.ErrNothing)
	case len(meta.RulesText) == 0:
		return nil, fmt.Errorf("%w: the store holds no rules file; load one with ingest load --rules", thresholds.ErrNothing)
	}
	if id == "" {
		id = meta.RuleSet + "_proposed"
	}
	p := &thresholds.Proposal{From: strings.Join(r.Present.Thresholds, "; "), To: strings.Join(r.Chosen.Thresholds, "; ")}
	var moves []rules.Move
	for _, m := range r.moves {
		name := meta.Rules.Flags[m.flag].ID
		if m.off {
			return nil, fmt.Errorf("%w: the criterion would leave out flag %s; a flag is removed by hand or not at all", thresholds.ErrNothing, name)
		}
		moves = append(moves, rules.Move{Flag: m.flag, Condition: m.condition, Lower: m.lower, At: m.at})
		p.Flags = append(p.Flags, name)
	}
	var err error
	p.Text, err = rules.Propose("rules in force", meta.RulesText, id, moves, meta.Dictionary)
	return p, err
}
