package queries

// Questions about groups and units.

import (
	"context"
	"time"
)

// AdviceGroupsRow is one row of AdviceGroups.
type AdviceGroupsRow struct {
	// Property: species, complaint, site, hours, week or contact.
	Property string `json:"property"`
	// Value: its value; empty if not recorded.
	Value string `json:"value"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// LaterLevel: highest advice at later contacts of the episode, 0 none.
	LaterLevel int8 `json:"later_level"`
	// NeedEmergency: 1 needed, 0 not needed, -1 not verified.
	NeedEmergency int8 `json:"need_emergency"`
	// NeedSameDay: the same for care on the same day.
	NeedSameDay int8 `json:"need_same_day"`
	// Route: 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit.
	Route int8 `json:"route"`
	// N: mature episodes.
	N int64 `json:"n"`
}

// AdviceGroups answers: How does the accuracy of the advice differ between species, complaints,
// sites, hours, days of the week, and episodes with one contact or several? Every two-by-two
// table of a group is a sum of these rows. One row per property, value, level, need and route
// that occurs.
func (d *DB) AdviceGroups(ctx context.Context, s Scope) ([]AdviceGroupsRow, error) {
	if w, err := d.walkCases(ctx, s); err != nil {
		return nil, err
	} else if w != nil {
		return w.adviceGroups(), nil
	}
	return ask(ctx, d, "advice_groups", names{}, s.args(), func(r *AdviceGroupsRow) []any {
		return []any{&r.Property, &r.Value, &r.Level, &r.LaterLevel, &r.NeedEmergency, &r.NeedSameDay, &r.Route, &r.N}
	})
}

// LevelsApartRow is one row of LevelsApart.
type LevelsApartRow struct {
	// Call: pseudonym of the first contact.
	Call string `json:"call"`
	// StartedAt: first contact, UTC.
	StartedAt time.Time `json:"started_at"`
	// Site: where the contact was taken.
	Site string `json:"site"`
	// Species: of the animal.
	Species string `json:"species"`
	// Complaint: coded.
	Complaint string `json:"complaint"`
	// Level: advice at the first contact.
	Level int8 `json:"level"`
	// VetLevel: level of the outcome.
	VetLevel int8 `json:"vet_level"`
	// Route: how the outcome came to be known.
	Route int8 `json:"route"`
	// Disposition: what became of the animal.
	Disposition string `json:"disposition"`
	// Died: whether the animal died or was put to sleep.
	Died bool `json:"died"`
}

// LevelsApart answers: Which episodes were advised two or more levels below what the vet saw?
// The worst cells of the table of levels, as cases to read, however few. One row per mature
// episode, the furthest apart first.
func (d *DB) LevelsApart(ctx context.Context, s Scope) ([]LevelsApartRow, error) {
	return ask(ctx, d, "levels_apart", names{}, s.args(), func(r *LevelsApartRow) []any {
		return []any{&r.Call, &r.StartedAt, &r.Site, &r.Species, &r.Complaint, &r.Level, &r.VetLevel, &r.Route, &r.Disposition, &r.Died}
	})
}

// UnitCountsRow is one row of UnitCounts.
type UnitCountsRow struct {
	// Kind: site or advisor.
	Kind string `json:"kind"`
	// Unit: name of the site, pseudonym of the advisor; empty if not recorded.
	Unit string `json:"unit"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// RuleLevel: level the rules demand, 0 undetermined to 4 emergency.
	RuleLevel int8 `json:"rule_level"`
	// SafetyNet: 1 if the owner was told when to ring again, 0 if not, -1 not recorded.
	SafetyNet int8 `json:"safety_net"`
	// N: episodes.
	N int64 `json:"n"`
}

// UnitCounts answers: What did each site and each advisor advise, beside what the rules demand?
// One row per unit, level, rule level and safety net that occurs.
func (d *DB) UnitCounts(ctx context.Context, s Scope) ([]UnitCountsRow, error) {
	return ask(ctx, d, "unit_counts", names{}, s.args(), func(r *UnitCountsRow) []any {
		return []any{&r.Kind, &r.Unit, &r.Level, &r.RuleLevel, &r.SafetyNet, &r.N}
	})
}

// DefinitionPairsRow is one row of DefinitionPairs.
type DefinitionPairsRow struct {
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// FirstEmergency: need for an emergency by the first definition: 1 needed, 0 not needed, -1 not
	// verified.
	FirstEmergency int8 `json:"first_emergency"`
	// FirstSameDay: the same for care on the same day.
	FirstSameDay int8 `json:"first_same_day"`
	// SecondEmergency: need for an emergency by the second definition.
	SecondEmergency int8 `json:"second_emergency"`
	// SecondSameDay: the same for care on the same day.
	SecondSameDay int8 `json:"second_same_day"`
	// N: mature episodes.
	N int64 `json:"n"`
}

// DefinitionPairs answers: How do two case definitions judge the same episodes? The first is the
// one of the store, the second the one that this database was opened with. One row per level and
// needs that occur.
func (d *DB) DefinitionPairs(ctx context.Context, s Scope) ([]DefinitionPairsRow, error) {
	return ask(ctx, d, "definition_pairs", names{}, s.args(), func(r *DefinitionPairsRow) []any {
		return []any{&r.Level, &r.FirstEmergency, &r.FirstSameDay, &r.SecondEmergency, &r.SecondSameDay, &r.N}
	})
}

// RareMissesRow is one row of RareMisses.
type RareMissesRow struct {
	// Kind: emergency or death.
	Kind string `json:"kind"`
	// StartedAt: first contact, UTC.
	StartedAt time.Time `json:"started_at"`
}

// RareMisses answers: On which days did the rare and grave misses happen: emergencies first advised
// less, and deaths after the advice soon or home care? For a chart of the days between them. One
// row per mature episode and kind that is rare, in the order of time; none of a kind with more than most.
func (d *DB) RareMisses(ctx context.Context, s Scope, most int) ([]RareMissesRow, error) {
	return ask(ctx, d, "rare_misses", names{}, with(s.args(), "most", most), func(r *RareMissesRow) []any {
		return []any{&r.Kind, &r.StartedAt}
	})
}
