package queries

// Questions about how complete, prompt and steady the records are.

import (
	"context"
	"time"
)

// ReceivedRow is one row of Received.
type ReceivedRow struct {
	// ContactType: clinical, or why it is left out: test, abandoned, not_clinical,
	// dead_before_call, third_party.
	ContactType string `json:"contact_type"`
	// Place: first or further of its episode; none where it belongs to no episode.
	Place string `json:"place"`
	// Records: triage records, one an animal.
	Records int64 `json:"records"`
}

// Received answers: What became of every triage record that was received: left out as not
// clinical, the first of its episode, or a further one? One row per contact type and place.
func (d *DB) Received(ctx context.Context, s Scope) ([]ReceivedRow, error) {
	return ask(ctx, d, "received", names{}, s.args(), func(r *ReceivedRow) []any {
		return []any{&r.ContactType, &r.Place, &r.Records}
	})
}

// ColumnFillRow is one row of ColumnFill.
type ColumnFillRow struct {
	// Record: calls, checks or outcomes.
	Record string `json:"record"`
	// Column: name of the column, with what it is counted among.
	Column string `json:"column"`
	// Month: yyyymm of the episode's first contact.
	Month int `json:"month"`
	// Filled: rows with a value.
	Filled int64 `json:"filled"`
	// N: rows that could have one.
	N int64 `json:"n"`
}

// ColumnFill answers: How completely is each column filled, month by month? A column that some
// rows cannot have is counted among those that can. One row per column and month with rows.
func (d *DB) ColumnFill(ctx context.Context, s Scope) ([]ColumnFillRow, error) {
	var n names
	if w, err := d.walk(ctx, s); err != nil {
		return nil, err
	} else if w != nil {
		n.filled = w.filled()
	}
	return ask(ctx, d, "column_fill", n, s.args(), func(r *ColumnFillRow) []any {
		return []any{&r.Record, &r.Column, &r.Month, &r.Filled, &r.N}
	})
}

// OutcomeDelaysRow is one row of OutcomeDelays.
type OutcomeDelaysRow struct {
	// Month: yyyymm of the episode's first contact.
	Month int `json:"month"`
	// Source: vet, owner_follow_up or panel.
	Source string `json:"source"`
	// Until: seen or recorded.
	Until string `json:"until"`
	// Days: whole days since the first contact; -1 where the moment is not on record.
	Days int `json:"days"`
	// N: outcomes linked to an episode.
	N int64 `json:"n"`
}

// OutcomeDelays answers: How many days lie between the first contact and what was found, and
// until it was written down? One row per month, source, moment and number of days.
func (d *DB) OutcomeDelays(ctx context.Context, s Scope) ([]OutcomeDelaysRow, error) {
	return ask(ctx, d, "outcome_delays", names{}, s.args(), func(r *OutcomeDelaysRow) []any {
		return []any{&r.Month, &r.Source, &r.Until, &r.Days, &r.N}
	})
}

// OutcomeLinksRow is one row of OutcomeLinks.
type OutcomeLinksRow struct {
	// Practice: that delivered it; empty if not recorded.
	Practice string `json:"practice"`
	// Source: vet, owner_follow_up or panel.
	Source string `json:"source"`
	// Month: yyyymm in which the animal was seen (UTC).
	Month int `json:"month"`
	// N: outcomes.
	N int64 `json:"n"`
	// ByCall: linked by the number of the call.
	ByCall int64 `json:"by_call"`
	// ByAnimal: linked by the animal, as the one episode before it.
	ByAnimal int64 `json:"by_animal"`
	// Scored: outcomes with a match score.
	Scored int64 `json:"scored"`
	// Doubtful: of these, with one below the limit.
	Doubtful int64 `json:"doubtful"`
}

// OutcomeLinks answers: How many outcomes could be linked to an episode, and how? One row per
// practice, source and month.
func (d *DB) OutcomeLinks(ctx context.Context, s Scope, doubtful float64) ([]OutcomeLinksRow, error) {
	return ask(ctx, d, "outcome_links", names{}, with(s.args(), "doubtful", doubtful), func(r *OutcomeLinksRow) []any {
		return []any{&r.Practice, &r.Source, &r.Month, &r.N, &r.ByCall, &r.ByAnimal, &r.Scored, &r.Doubtful}
	})
}

// CodeSharesRow is one row of CodeShares.
type CodeSharesRow struct {
	// Column: complaint, species, level, disposition, or the id of a coded finding.
	Column string `json:"column"`
	// Month: yyyymm.
	Month int `json:"month"`
	// Code: the word; empty if not recorded; for a finding its place counted from 1.
	Code string `json:"code"`
	// N: episodes; for a disposition those with an outcome, for a finding those with a reading.
	N int64 `json:"n"`
}

// CodeShares answers: How often was each word used each month? Where the words of a column move
// from month to month, the coding may have changed and not the animals. One row per column,
// month and word.
func (d *DB) CodeShares(ctx context.Context, s Scope) ([]CodeSharesRow, error) {
	if w, err := d.walkCases(ctx, s); err != nil {
		return nil, err
	} else if w != nil {
		return w.shares(d.meta.Findings), nil
	}
	return ask(ctx, d, "code_shares", names{}, s.args(), func(r *CodeSharesRow) []any {
		return []any{&r.Column, &r.Month, &r.Code, &r.N}
	})
}

// RulesetMonthsRow is one row of RulesetMonths.
type RulesetMonthsRow struct {
	// Month: yyyymm.
	Month int `json:"month"`
	// Ruleset: as recorded on the calls; empty if not recorded.
	Ruleset string `json:"ruleset"`
	// FirstDay: first contact under it in that month, UTC.
	FirstDay time.Time `json:"first_day"`
	// N: episodes.
	N int64 `json:"n"`
}

// RulesetMonths answers: Which version of the rules was in force in which month? One row per
// month and version.
func (d *DB) RulesetMonths(ctx context.Context, s Scope) ([]RulesetMonthsRow, error) {
	return ask(ctx, d, "ruleset_months", names{}, s.args(), func(r *RulesetMonthsRow) []any {
		return []any{&r.Month, &r.Ruleset, &r.FirstDay, &r.N}
	})
}
