package queries

// Questions about a rules file, in force or proposed.

import (
	"context"
	"fmt"
	"strings"

	"hindcheck/pipeline/rules"
)

// RuleUsesRow is one row of RuleUses.
type RuleUsesRow struct {
	// Flag: position in the rules file, from 0.
	Flag int `json:"flag"`
	// Species: of the animal; empty if not recorded.
	Species string `json:"species"`
	// Fired: episodes on which the flag fires.
	Fired int64 `json:"fired"`
	// Unknown: episodes on which it neither fires nor is ruled out.
	Unknown int64 `json:"unknown"`
	// RuledOut: the other episodes.
	RuledOut int64 `json:"ruled_out"`
}

// RuleUses answers: How often would each flag of a rules file have fired on the calls already taken,
// been ruled out, or stayed undecided? p is compiled with the snapshot's dictionary; nil asks
// about the rules in force. One row per flag and species.
func (d *DB) RuleUses(ctx context.Context, s Scope, p *rules.Program) ([]RuleUsesRow, error) {
	return ask(ctx, d, "rule_uses", names{program: p}, s.args(), func(r *RuleUsesRow) []any {
		return []any{&r.Flag, &r.Species, &r.Fired, &r.Unknown, &r.RuledOut}
	})
}

// FindingAnswersRow is one row of FindingAnswers.
type FindingAnswersRow struct {
	// Finding: position in the dictionary, from 0.
	Finding int `json:"finding"`
	// Species: of the animal; empty if not recorded.
	Species string `json:"species"`
	// Episodes: all of that species.
	Episodes int64 `json:"episodes"`
	// Answered: those with a reading.
	Answered int64 `json:"answered"`
}

// FindingAnswers answers: How often was each finding answered at all, by species? A rule on a question that
// is hardly ever asked decides nothing. One row per finding and species.
func (d *DB) FindingAnswers(ctx context.Context, s Scope) ([]FindingAnswersRow, error) {
	return ask(ctx, d, "finding_answers", names{}, s.args(), func(r *FindingAnswersRow) []any {
		return []any{&r.Finding, &r.Species, &r.Episodes, &r.Answered}
	})
}

// triedPrefix goes before the columns of a program that is not in force.
const triedPrefix = "p_"

// tried returns a relation with the bits of the program in question: cases have
// those of the rules in force already.
func (d *DB) tried(p *rules.Program, relation string) (string, error) {
	if p == nil {
		return "SELECT * FROM " + relation, nil
	}
	return rules.Select(relation, rules.Part{Program: p, Prefix: triedPrefix})
}

// triedFlags is how many flags the program in question has.
func (d *DB) triedFlags(p *rules.Program) int {
	if p == nil {
		return len(d.meta.Flags)
	}
	return len(p.Set.Flags)
}

// triedSums lists, for each flag of the program in question, how often it fired
// or was unknown.
func (d *DB) triedSums(p *rules.Program, what string) (string, error) {
	if what != "fired" && what != "unknown" {
		return "", fmt.Errorf("sums of %q: expected fired or unknown", what)
	}
	if p != nil {
		what = triedPrefix + what
	}
	parts := make([]string, d.triedFlags(p))
	for i := range parts {
		parts[i] = "sum(" + bit(what, i) + ")::BIGINT"
	}
	return "[" + strings.Join(parts, ", ") + "]::BIGINT[]", nil
}
