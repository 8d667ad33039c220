package queries

// Questions about the advisors, under pseudonyms and never ranked.

import (
	"context"
)

// AdvisorsRow is one row of Advisors.
type AdvisorsRow struct {
	// Advisor: pseudonym of the advisor.
	Advisor string `json:"advisor"`
	// Episodes: whose first contact she took.
	Episodes int64 `json:"episodes"`
}

// Advisors answers: Which advisors took clinical calls, and how many? In the order of the pseudonyms,
// which means nothing. One row per advisor.
func (d *DB) Advisors(ctx context.Context, s Scope) ([]AdvisorsRow, error) {
	return ask(ctx, d, "advisors", names{}, s.args(), func(r *AdvisorsRow) []any {
		return []any{&r.Advisor, &r.Episodes}
	})
}

// AdvisorChecksRow is one row of AdvisorChecks.
type AdvisorChecksRow struct {
	// Advisor: pseudonym of the advisor.
	Advisor string `json:"advisor"`
	// Finding: id of the finding.
	Finding string `json:"finding"`
	// Done: read by the owner.
	Done int64 `json:"done"`
	// NotPossible: tried, could not be done.
	NotPossible int64 `json:"not_possible"`
	// Declined: declined or unsafe.
	Declined int64 `json:"declined"`
	// NotAsked: not asked, for another reason than the next.
	NotAsked int64 `json:"not_asked"`
	// StoppedEarly: not asked because an emergency sign had ended the questions.
	StoppedEarly int64 `json:"stopped_early"`
}

// AdvisorChecks answers: How were the home checks of each advisor's calls done? One row per advisor
// and finding with a record of the check.
func (d *DB) AdvisorChecks(ctx context.Context, s Scope) ([]AdvisorChecksRow, error) {
	return ask(ctx, d, "advisor_checks", names{}, s.args(), func(r *AdvisorChecksRow) []any {
		return []any{&r.Advisor, &r.Finding, &r.Done, &r.NotPossible, &r.Declined, &r.NotAsked, &r.StoppedEarly}
	})
}

// AdvisorAdviceRow is one row of AdvisorAdvice.
type AdvisorAdviceRow struct {
	// Advisor: pseudonym of the advisor.
	Advisor string `json:"advisor"`
	// Contacts: records of clinical contacts.
	Contacts int64 `json:"contacts"`
	// WithBoth: with advice and a rule level on record.
	WithBoth int64 `json:"with_both"`
	// Above: advised above the rules' level.
	Above int64 `json:"above"`
	// Below: advised below the rules' level.
	Below int64 `json:"below"`
	// SafetyNet: owner told when to ring again.
	SafetyNet int64 `json:"safety_net"`
	// SafetyNetKnown: records on which that is recorded.
	SafetyNetKnown int64 `json:"safety_net_known"`
	// Scratched: a person was scratched.
	Scratched int64 `json:"scratched"`
	// Bitten: a person was bitten.
	Bitten int64 `json:"bitten"`
	// HurtKnown: records on which it is recorded whether a person was hurt.
	HurtKnown int64 `json:"hurt_known"`
	// Seconds: median length of a call in seconds, null if not recorded.
	Seconds *float64 `json:"seconds"`
}

// AdvisorAdvice answers: How did each advisor's advice stand to the rules, what changed it, was the
// owner told when to ring again, was anybody hurt? One row per advisor.
func (d *DB) AdvisorAdvice(ctx context.Context, s Scope) ([]AdvisorAdviceRow, error) {
	return ask(ctx, d, "advisor_advice", names{}, s.args(), func(r *AdvisorAdviceRow) []any {
		return []any{&r.Advisor, &r.Contacts, &r.WithBoth, &r.Above, &r.Below, &r.SafetyNet, &r.SafetyNetKnown, &r.Scratched, &r.Bitten, &r.HurtKnown, &r.Seconds}
	})
}

// AdvisorChangesRow is one row of AdvisorChanges.
type AdvisorChangesRow struct {
	// Advisor: pseudonym of the advisor.
	Advisor string `json:"advisor"`
	// Direction: above or below the rules' level.
	Direction string `json:"direction"`
	// Reason: coded; empty if none was given.
	Reason string `json:"reason"`
	// N: records of clinical contacts.
	N int64 `json:"n"`
}

// AdvisorChanges answers: Which reasons did each advisor give for departing from the rules? One row
// per advisor, direction and reason.
func (d *DB) AdvisorChanges(ctx context.Context, s Scope) ([]AdvisorChangesRow, error) {
	return ask(ctx, d, "advisor_changes", names{}, s.args(), func(r *AdvisorChangesRow) []any {
		return []any{&r.Advisor, &r.Direction, &r.Reason, &r.N}
	})
}

// OverrideOutcomesRow is one row of OverrideOutcomes.
type OverrideOutcomesRow struct {
	// Direction: above or below the level that the rules said on the telephone.
	Direction string `json:"direction"`
	// Episodes: so advised at the first contact.
	Episodes int64 `json:"episodes"`
	// Known: whose need for care on the same day became known.
	Known int64 `json:"known"`
	// Needed: that needed it.
	Needed int64 `json:"needed"`
}

// OverrideOutcomes answers: What came of advice above and below the rules, in the line as a whole?
// Mature episodes. One row per direction.
func (d *DB) OverrideOutcomes(ctx context.Context, s Scope) ([]OverrideOutcomesRow, error) {
	return ask(ctx, d, "override_outcomes", names{}, s.args(), func(r *OverrideOutcomesRow) []any {
		return []any{&r.Direction, &r.Episodes, &r.Known, &r.Needed}
	})
}

// AdvisorCasesRow is one row of AdvisorCases.
type AdvisorCasesRow struct {
	// Advisor: pseudonym of the advisor.
	Advisor string `json:"advisor"`
	// Kind: raised_and_needed (advised above the rules, and care was needed) or needed_more (needed more
	// than was advised).
	Kind string `json:"kind"`
	// Episode: pseudonym of the episode.
	Episode string `json:"episode"`
}

// AdvisorCases answers: Which mature episodes can their advisor learn from? Raised above the rules or
// caught by an open question and needed; or needed more than was advised; the latest first. A choice
// for a private sheet, never a count. One row per episode of these kinds.
func (d *DB) AdvisorCases(ctx context.Context, s Scope) ([]AdvisorCasesRow, error) {
	return ask(ctx, d, "advisor_cases", names{}, s.args(), func(r *AdvisorCasesRow) []any {
		return []any{&r.Advisor, &r.Kind, &r.Episode}
	})
}
