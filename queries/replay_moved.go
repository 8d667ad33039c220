package queries

// Which episodes two sets of rules move, on which the other questions about a
// replay rest.

import (
	"context"
	"time"
)

// ReplayMovedRow is one row of ReplayMoved.
type ReplayMovedRow struct {
	// Episode: pseudonym of the episode.
	Episode string `json:"episode"`
	// StartedAt: first contact, UTC.
	StartedAt time.Time `json:"started_at"`
	// Month: yyyymm.
	Month int `json:"month"`
	// LocalHour: hour of the first contact on the caller's clock, null not recorded.
	LocalHour *int8 `json:"local_hour"`
	// Site: where the contact was taken.
	Site string `json:"site"`
	// Species: of the animal.
	Species string `json:"species"`
	// Stratum: the recorded properties beside the level.
	Stratum []string `json:"stratum"`
	// AgeMonths: age in months, null not recorded.
	AgeMonths *int32 `json:"age_months"`
	// Complaint: coded.
	Complaint string `json:"complaint"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// RuleLow: level of the rules in force by flags that fired alone, 0 undetermined.
	RuleLow int8 `json:"rule_low"`
	// RuleLevel: level that the rules in force demand.
	RuleLevel int8 `json:"rule_level"`
	// RuleHigh: the highest level they may demand once unknown answers are known.
	RuleHigh int8 `json:"rule_high"`
	// OldLow: the three of the current rules.
	OldLow   int8 `json:"old_low"`
	OldLevel int8 `json:"old_level"`
	OldHigh  int8 `json:"old_high"`
	// NewLow: the three of the proposed rules.
	NewLow   int8 `json:"new_low"`
	NewLevel int8 `json:"new_level"`
	NewHigh  int8 `json:"new_high"`
	// NeedEmergency: 1 needed it, 0 did not, -1 not verified.
	NeedEmergency int8 `json:"need_emergency"`
	// NeedSameDay: the same for care on the same day.
	NeedSameDay int8 `json:"need_same_day"`
	// Route: how the outcome came to be known.
	Route int8 `json:"route"`
	// Disposition: what became of the animal.
	Disposition string `json:"disposition"`
	// Died: whether the animal died or was put to sleep.
	Died bool `json:"died"`
	// OutcomeMinutes: minutes from the first contact to the outcome, null unknown.
	OutcomeMinutes *int32 `json:"outcome_minutes"`
	// Words: bits of the flags that fired: the stored words, then those of flags of which
	// the store has no answer.
	Words []uint64 `json:"words"`
}

// ReplayMoved answers: Which episodes would one of two sets of rules put at another level than the rules in force
// did? The other questions about a replay take everything else as it stands in the records. One row per
// episode.
func (d *DB) ReplayMoved(ctx context.Context, s Scope, p Replay) ([]ReplayMovedRow, error) {
	args := map[string]any{"from_month": s.From, "to_month": s.To}
	return ask(ctx, d, "replay_moved", names{replay: p}, args, func(r *ReplayMovedRow) []any {
		return []any{&r.Episode, &r.StartedAt, &r.Month, &r.LocalHour, &r.Site, &r.Species, (*stringList)(&r.Stratum), &r.AgeMonths, &r.Complaint,
			&r.Level, &r.RuleLow, &r.RuleLevel, &r.RuleHigh, &r.OldLow, &r.OldLevel, &r.OldHigh, &r.NewLow, &r.NewLevel, &r.NewHigh,
			&r.NeedEmergency, &r.NeedSameDay, &r.Route, &r.Disposition, &r.Died, &r.OutcomeMinutes, (*wordList)(&r.Words)}
	})
}

// movedSQL is replay_moved as a relation.
func (d *DB) movedSQL(n names, args map[string]any) (string, error) {
	if n.replay.held.moved != "" {
		return n.replay.held.moved, nil
	}
	text, err := d.expandNamed("replay_moved", n, args)
	return "(" + text + ")", err
}

// expandNamed expands a question that stands within others.
func (d *DB) expandNamed(name string, n names, args map[string]any) (string, error) {
	all, err := load()
	if err != nil {
		return "", err
	}
	return d.expand(all[name], n, args)
}
