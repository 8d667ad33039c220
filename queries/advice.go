package queries

// Questions about advice against what was found.

import (
	"context"
	"time"
)

// AdviceCountsRow is one row of AdviceCounts.
type AdviceCountsRow struct {
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// RuleLevel: level the rules demand, 0 undetermined to 4 emergency.
	RuleLevel int8 `json:"rule_level"`
	// AnyFlag: whether any flag fired.
	AnyFlag bool `json:"any_flag"`
	// NeedEmergency: 1 needed, 0 not needed, -1 not verified.
	NeedEmergency int8 `json:"need_emergency"`
	// NeedSameDay: the same for care on the same day.
	NeedSameDay int8 `json:"need_same_day"`
	// Route: how the outcome came to be known: 0 none, 1 advised visit, 2 own decision, 3 call-
	// back, 4 audit.
	Route int8 `json:"route"`
	// Mature: whether outcomes had time to arrive.
	Mature bool `json:"mature"`
	// Stratum: the recorded properties beside the level.
	Stratum []string `json:"stratum"`
	// N: episodes.
	N int64 `json:"n"`
}

// AdviceCounts answers: What was advised, what did the rules say, and what was found, by the recorded
// properties that drive verification? Every two-by-two table of the advice and of the rules is a
// sum of these rows. One row per level, rule level, need, route, maturity and stratum that occurs.
func (d *DB) AdviceCounts(ctx context.Context, s Scope) ([]AdviceCountsRow, error) {
	return ask(ctx, d, "advice_counts", names{}, s.args(), func(r *AdviceCountsRow) []any {
		return []any{&r.Level, &r.RuleLevel, &r.AnyFlag, &r.NeedEmergency, &r.NeedSameDay, &r.Route, &r.Mature, (*stringList)(&r.Stratum), &r.N}
	})
}

// AdviceClustersRow is one row of AdviceClusters.
type AdviceClustersRow struct {
	// Need: 1 needed, 0 not needed.
	Need int8 `json:"need"`
	// Episodes: mature verified episodes of one such cluster with that need.
	Episodes int64 `json:"episodes"`
	// Escalated: how many of them were advised at or above the cut.
	Escalated int64 `json:"escalated"`
	// Clusters: how many clusters show these totals.
	Clusters int64 `json:"clusters"`
}

// AdviceClusters answers: How do episodes of one animal, owner, advisor or practice resemble each other in
// need and advice? Counts of clusters by their totals, for limits that allow for clusters. One row
// per need and pair of totals; episodes without the cluster's name are left out.
func (d *DB) AdviceClusters(ctx context.Context, s Scope, cut int, cluster string) ([]AdviceClustersRow, error) {
	if w, err := d.walkCases(ctx, s); err != nil {
		return nil, err
	} else if w != nil {
		if c := w.clusters(cluster); c != nil {
			return adviceClusters(c, cut), nil
		}
	}
	return ask(ctx, d, "advice_clusters", names{cluster: cluster}, with(s.args(), "cut", cut), func(r *AdviceClustersRow) []any {
		return []any{&r.Need, &r.Episodes, &r.Escalated, &r.Clusters}
	})
}

// LevelOutcomeRow is one row of LevelOutcome.
type LevelOutcomeRow struct {
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// VetLevel: level the outcome gives, 0 none or not stated to 4 emergency.
	VetLevel int8 `json:"vet_level"`
	// Route: 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit.
	Route int8 `json:"route"`
	// Mature: whether outcomes had time to arrive.
	Mature bool `json:"mature"`
	// N: episodes.
	N int64 `json:"n"`
}

// LevelOutcome answers: Which level did the vet see among episodes of each advised level, and how was it
// known? One row per advised level, vet level, route and maturity that occurs.
func (d *DB) LevelOutcome(ctx context.Context, s Scope) ([]LevelOutcomeRow, error) {
	return ask(ctx, d, "level_outcome", names{}, s.args(), func(r *LevelOutcomeRow) []any {
		return []any{&r.Level, &r.VetLevel, &r.Route, &r.Mature, &r.N}
	})
}

// RulesFollowedRow is one row of RulesFollowed.
type RulesFollowedRow struct {
	// AnyFlag: whether any flag fired.
	AnyFlag bool `json:"any_flag"`
	// RuleLevel: level the rules demand, 0 undetermined to 4 emergency.
	RuleLevel int8 `json:"rule_level"`
	// RuleHigh: the highest level they may demand once unknown answers are known.
	RuleHigh int8 `json:"rule_high"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// NeedSameDay: 1 needed, 0 not needed, -1 not verified.
	NeedSameDay int8 `json:"need_same_day"`
	// NeedEmergency: the same for an emergency.
	NeedEmergency int8 `json:"need_emergency"`
	// Mature: whether outcomes had time to arrive.
	Mature bool `json:"mature"`
	// N: episodes.
	N int64 `json:"n"`
}

// RulesFollowed answers: Did the advisor give what the rules demand, raise it or lower it, with or without
// any flag? One row per combination that occurs.
func (d *DB) RulesFollowed(ctx context.Context, s Scope) ([]RulesFollowedRow, error) {
	return ask(ctx, d, "rules_followed", names{}, s.args(), func(r *RulesFollowedRow) []any {
		return []any{&r.AnyFlag, &r.RuleLevel, &r.RuleHigh, &r.Level, &r.NeedSameDay, &r.NeedEmergency, &r.Mature, &r.N}
	})
}

// MissedCasesRow is one row of MissedCases.
type MissedCasesRow struct {
	// Episode: pseudonym of the episode.
	Episode string `json:"episode"`
	// Call: pseudonym of the first contact.
	Call string `json:"call"`
	// StartedAt: first contact, UTC.
	StartedAt time.Time `json:"started_at"`
	// Month: yyyymm.
	Month int `json:"month"`
	// Site: where the contact was taken.
	Site string `json:"site"`
	// Species: of the animal.
	Species string `json:"species"`
	// Complaint: coded.
	Complaint string `json:"complaint"`
	// Level: advice at the first contact.
	Level int8 `json:"level"`
	// LaterLevel: highest advice at later contacts of the episode, 0 none.
	LaterLevel int8 `json:"later_level"`
	// RuleLevel: level the rules demand, 0 undetermined.
	RuleLevel int8 `json:"rule_level"`
	// NeedEmergency: 1 needed it, 0 did not, -1 not verified.
	NeedEmergency int8 `json:"need_emergency"`
	// NeedSameDay: the same for care on the same day.
	NeedSameDay int8 `json:"need_same_day"`
	// VetLevel: level of the outcome, 0 not stated.
	VetLevel int8 `json:"vet_level"`
	// Route: how the outcome came to be known.
	Route int8 `json:"route"`
	// Disposition: what became of the animal.
	Disposition string `json:"disposition"`
	// Died: whether the animal died or was put to sleep.
	Died bool `json:"died"`
	// OutcomeHours: hours from the first contact to the outcome, null unknown.
	OutcomeHours *float64 `json:"outcome_hours"`
	// Independent: 1 if the outcome was judged without knowing the telephone findings, 0 if not,
	// -1 unknown.
	Independent int8 `json:"independent"`
	// Advisor: pseudonym of who took the first contact; empty if not recorded.
	Advisor string `json:"advisor"`
	// Fired: positions of the flags that fired.
	Fired []int `json:"fired"`
}

// MissedCases answers: Which episodes needed care at the cut and were first advised below it? A list for
// discussion, not a rate. One row per episode, worst first.
func (d *DB) MissedCases(ctx context.Context, s Scope, cut int) ([]MissedCasesRow, error) {
	return ask(ctx, d, "missed_cases", names{}, with(s.args(), "cut", cut), func(r *MissedCasesRow) []any {
		return []any{&r.Episode, &r.Call, &r.StartedAt, &r.Month, &r.Site, &r.Species, &r.Complaint, &r.Level, &r.LaterLevel, &r.RuleLevel, &r.NeedEmergency, &r.NeedSameDay, &r.VetLevel, &r.Route, &r.Disposition, &r.Died, &r.OutcomeHours, &r.Independent, &r.Advisor, (*intList)(&r.Fired)}
	})
}

// NotAttendedRow is one row of NotAttended.
type NotAttendedRow struct {
	// Month: yyyymm.
	Month int `json:"month"`
	// Level: advice at the first contact, 3 same day or 4 emergency.
	Level int8 `json:"level"`
	// Reason: why the animal did not attend; empty if not stated.
	Reason string `json:"reason"`
	// NeedSameDay: 1 needed care the same day, 0 did not, -1 not verified.
	NeedSameDay int8 `json:"need_same_day"`
	// N: episodes.
	N int64 `json:"n"`
}

// NotAttended answers: Which animals were told to attend and did not go, and why? Not a miss of the
// advice. One row per month, level, reason and need.
func (d *DB) NotAttended(ctx context.Context, s Scope) ([]NotAttendedRow, error) {
	return ask(ctx, d, "not_attended", names{}, s.args(), func(r *NotAttendedRow) []any {
		return []any{&r.Month, &r.Level, &r.Reason, &r.NeedSameDay, &r.N}
	})
}

// CaseComponentsRow is one row of CaseComponents.
type CaseComponentsRow struct {
	// Component: name of the part.
	Component string `json:"component"`
	// Answer: 1 yes, 0 no, -1 unknown (a missing part is unknown, not a no).
	Answer int8 `json:"answer"`
	// NeedSameDay: 1 needed, 0 not needed, -1 not verified.
	NeedSameDay int8 `json:"need_same_day"`
	// N: mature episodes with any outcome.
	N int64 `json:"n"`
}

// CaseComponents answers: Which parts of the case definition made episodes count as needing care, and
// which were unknown? One row per component, answer and need.
func (d *DB) CaseComponents(ctx context.Context, s Scope) ([]CaseComponentsRow, error) {
	return ask(ctx, d, "case_components", names{}, s.args(), func(r *CaseComponentsRow) []any {
		return []any{&r.Component, &r.Answer, &r.NeedSameDay, &r.N}
	})
}
