package queries

// Questions about flags.

import (
	"context"
)

// FlagCountsRow is one row of FlagCounts.
type FlagCountsRow struct {
	// Flag: position in the rules file, from 0.
	Flag int `json:"flag"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// Need: 1 needed, 0 not needed, -1 not verified.
	Need int8 `json:"need"`
	// Route: 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit.
	Route int8 `json:"route"`
	// Mature: whether outcomes had time to arrive.
	Mature bool `json:"mature"`
	// Stratum: the recorded properties beside the level.
	Stratum []string `json:"stratum"`
	// Present: episodes on which the flag fired.
	Present int64 `json:"present"`
	// Absent: episodes on which the flag was ruled out.
	Absent int64 `json:"absent"`
	// Unknown: episodes on which it neither fired nor was ruled out.
	Unknown int64 `json:"unknown"`
}

// FlagCounts answers: How often was each flag present, absent or unknown, among episodes of each advice,
// need, route and stratum? Every two-by-two table of a flag, by route or stratum, is a sum of
// these rows. One row per flag, level, need, route, maturity and stratum that occurs.
func (d *DB) FlagCounts(ctx context.Context, s Scope, cut int) ([]FlagCountsRow, error) {
	return ask(ctx, d, "flag_counts", names{}, with(s.args(), "cut", cut), func(r *FlagCountsRow) []any {
		return []any{&r.Flag, &r.Level, &r.Need, &r.Route, &r.Mature, (*stringList)(&r.Stratum), &r.Present, &r.Absent, &r.Unknown}
	})
}

// FlagTablesRow is one row of FlagTables: the two-by-two table of one flag.
type FlagTablesRow struct {
	// Flag: position in the rules file, from 0.
	Flag int `json:"flag"`
	// Month: of the first contact, yyyymm.
	Month int `json:"month"`
	// Species: of the animal; empty if not recorded.
	Species string `json:"species"`
	// Mature: whether outcomes had time to arrive.
	Mature bool `json:"mature"`
	// TP: the flag fired on an animal in need.
	TP int64 `json:"tp"`
	// FP: the flag fired on an animal not in need.
	FP int64 `json:"fp"`
	// FN: the flag was ruled out on an animal in need.
	FN int64 `json:"fn"`
	// TN: the flag was ruled out on an animal not in need.
	TN int64 `json:"tn"`
	// UnknownNeeded: the flag neither fired nor was ruled out, animal in need.
	UnknownNeeded int64 `json:"unknown_needed"`
	// UnknownNotNeeded: likewise, animal not in need.
	UnknownNotNeeded int64 `json:"unknown_not_needed"`
	// PresentUnverified: the flag fired and need is not known.
	PresentUnverified int64 `json:"present_unverified"`
	// AbsentUnverified: the flag was ruled out and need is not known.
	AbsentUnverified int64 `json:"absent_unverified"`
	// UnknownUnverified: neither the flag nor need is known.
	UnknownUnverified int64 `json:"unknown_unverified"`
}

// FlagTables answers: What are the two-by-two tables of every flag against need, by species and month? Where the
// flag or need is not known stands beside each table. One row per flag, month, species and maturity that occurs.
func (d *DB) FlagTables(ctx context.Context, s Scope, cut int) ([]FlagTablesRow, error) {
	return ask(ctx, d, "flag_tables", names{}, with(s.args(), "cut", cut), func(r *FlagTablesRow) []any {
		return []any{&r.Flag, &r.Month, &r.Species, &r.Mature, &r.TP, &r.FP, &r.FN, &r.TN, &r.UnknownNeeded, &r.UnknownNotNeeded,
			&r.PresentUnverified, &r.AbsentUnverified, &r.UnknownUnverified}
	})
}

// FlagEscalationRow is one row of FlagEscalation.
type FlagEscalationRow struct {
	// Flag: position in the rules file, from 0.
	Flag int `json:"flag"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// Alone: episodes on which only this flag fired.
	Alone int64 `json:"alone"`
	// WithOthers: episodes on which this flag and others fired.
	WithOthers int64 `json:"with_others"`
	// Absent: episodes on which the flag was ruled out.
	Absent int64 `json:"absent"`
	// Unknown: episodes on which it neither fired nor was ruled out.
	Unknown int64 `json:"unknown"`
}

// FlagEscalation answers: When a flag was present, was the animal escalated, and did the flag stand alone
// or with others? A flag that itself demands escalation nearly always leads to it: this is
// compliance, not accuracy. One row per flag and level.
func (d *DB) FlagEscalation(ctx context.Context, s Scope) ([]FlagEscalationRow, error) {
	return ask(ctx, d, "flag_escalation", names{}, s.args(), func(r *FlagEscalationRow) []any {
		return []any{&r.Flag, &r.Level, &r.Alone, &r.WithOthers, &r.Absent, &r.Unknown}
	})
}

// FlagNotAssessedRow is one row of FlagNotAssessed.
type FlagNotAssessedRow struct {
	// Flag: position in the rules file, from 0.
	Flag int `json:"flag"`
	// State: the most telling state among the findings it reads: declined, not_possible,
	// unreadable, stopped_early, not_asked, or animal_not_described where a property of the
	// animal is missing.
	State string `json:"state"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// NeedEmergency: 1 needed, 0 not needed, -1 not verified.
	NeedEmergency int8 `json:"need_emergency"`
	// NeedSameDay: the same for care on the same day.
	NeedSameDay int8 `json:"need_same_day"`
	// Mature: whether outcomes had time to arrive.
	Mature bool `json:"mature"`
	// N: episodes.
	N int64 `json:"n"`
}

// FlagNotAssessed answers: Why was a flag unknown, and was the animal escalated and in need all the same?
// Not assessed is not normal. One row per flag, state, level, need and maturity that occurs.
func (d *DB) FlagNotAssessed(ctx context.Context, s Scope) ([]FlagNotAssessedRow, error) {
	if w, err := d.walkCases(ctx, s); err != nil {
		return nil, err
	} else if w != nil {
		return w.notAssessed(), nil
	}
	return ask(ctx, d, "flag_not_assessed", names{}, s.args(), func(r *FlagNotAssessedRow) []any {
		return []any{&r.Flag, &r.State, &r.Level, &r.NeedEmergency, &r.NeedSameDay, &r.Mature, &r.N}
	})
}

// FlagClustersRow is one row of FlagClusters.
type FlagClustersRow struct {
	// Flag: position in the rules file, from 0.
	Flag int `json:"flag"`
	// Need: 1 needed, 0 not needed.
	Need int8 `json:"need"`
	// Episodes: mature verified episodes of one such cluster with that need on which the flag
	// was assessed.
	Episodes int64 `json:"episodes"`
	// Present: on how many of them the flag fired.
	Present int64 `json:"present"`
	// Clusters: how many clusters show these totals.
	Clusters int64 `json:"clusters"`
}

// FlagClusters answers: How do episodes of one animal, owner, advisor or practice resemble each other in
// need and in each flag? Counts of clusters by their totals, for limits that allow for clusters.
// One row per flag, need and pair of totals; episodes without the cluster's name are left out.
func (d *DB) FlagClusters(ctx context.Context, s Scope, cut int, cluster string) ([]FlagClustersRow, error) {
	if w, err := d.walkCases(ctx, s); err != nil {
		return nil, err
	} else if w != nil {
		if c := w.clusters(cluster); c != nil {
			return flagClusters(c, cut, len(d.meta.Flags)), nil
		}
	}
	return ask(ctx, d, "flag_clusters", names{cluster: cluster}, with(s.args(), "cut", cut), func(r *FlagClustersRow) []any {
		return []any{&r.Flag, &r.Need, &r.Episodes, &r.Present, &r.Clusters}
	})
}
