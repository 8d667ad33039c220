package queries

// Questions about what the line did.

import (
	"context"
)

// MonthsRow is one row of Months.
type MonthsRow struct {
	// Month: yyyymm.
	Month int `json:"month"`
	// Episodes: by first clinical contact.
	Episodes int64 `json:"episodes"`
}

// Months answers: Which months does the store hold, and how many episodes? One row per month.
func (d *DB) Months(ctx context.Context) ([]MonthsRow, error) {
	return ask(ctx, d, "months", names{}, map[string]any{}, func(r *MonthsRow) []any {
		return []any{&r.Month, &r.Episodes}
	})
}

// ProcessByMonthRow is one row of ProcessByMonth.
type ProcessByMonthRow struct {
	// Month: yyyymm.
	Month int `json:"month"`
	// Episodes: by first clinical contact.
	Episodes int64 `json:"episodes"`
	// Mature: episodes whose outcomes had time to arrive.
	Mature int64 `json:"mature"`
	// Emergency: advised emergency.
	Emergency int64 `json:"emergency"`
	// SameDay: advised same day.
	SameDay int64 `json:"same_day"`
	// Soon: advised soon.
	Soon int64 `json:"soon"`
	// HomeCare: advised home care.
	HomeCare int64 `json:"home_care"`
	// NoLevel: without advice on record.
	NoLevel int64 `json:"no_level"`
	// Undetermined: nothing was assessed that the rules ask for.
	Undetermined int64 `json:"undetermined"`
	// Raised: advised above the rules' level.
	Raised int64 `json:"raised"`
	// Lowered: advised below the rules' level.
	Lowered int64 `json:"lowered"`
	// Recontact24h: with another contact within 24 hours.
	Recontact24h int64 `json:"recontact_24h"`
	// RaisedLater: a later contact of the episode advised higher.
	RaisedLater int64 `json:"raised_later"`
	// SafetyNet: owner was told when to ring again.
	SafetyNet int64 `json:"safety_net"`
	// SafetyNetKnown: episodes on which that is recorded.
	SafetyNetKnown int64 `json:"safety_net_known"`
	// WithOutcome: with any outcome.
	WithOutcome int64 `json:"with_outcome"`
	// FollowedUp: outcome known by call-back or audit.
	FollowedUp int64 `json:"followed_up"`
	// Verified: need for care on the same day known.
	Verified int64 `json:"verified"`
	// Needed: needed care on the same day.
	Needed int64 `json:"needed"`
	// Missed: needed care on the same day and were advised later than that.
	Missed int64 `json:"missed"`
	// EmergencyMissed: mature, needed emergency care and were advised something less.
	EmergencyMissed int64 `json:"emergency_missed"`
	// DiedAdvisedLess: mature, died or put to sleep after the first advice soon or home care.
	DiedAdvisedLess int64 `json:"died_advised_less"`
	// DidNotAttend: told to attend and did not.
	DidNotAttend int64 `json:"did_not_attend"`
	// Died: died or put to sleep.
	Died int64 `json:"died"`
	// PersonHurt: a person was scratched or bitten.
	PersonHurt int64 `json:"person_hurt"`
}

// ProcessByMonth answers: What did the line do each month: volume, advice, follow-up, repeat contacts,
// safety? One row per month with episodes.
func (d *DB) ProcessByMonth(ctx context.Context, s Scope) ([]ProcessByMonthRow, error) {
	return ask(ctx, d, "process_by_month", names{}, s.args(), func(r *ProcessByMonthRow) []any {
		return []any{&r.Month, &r.Episodes, &r.Mature, &r.Emergency, &r.SameDay, &r.Soon, &r.HomeCare, &r.NoLevel, &r.Undetermined, &r.Raised, &r.Lowered, &r.Recontact24h, &r.RaisedLater, &r.SafetyNet, &r.SafetyNetKnown, &r.WithOutcome, &r.FollowedUp, &r.Verified, &r.Needed, &r.Missed, &r.EmergencyMissed, &r.DiedAdvisedLess, &r.DidNotAttend, &r.Died, &r.PersonHurt}
	})
}

// ContactTypesRow is one row of ContactTypes.
type ContactTypesRow struct {
	// ContactType: clinical, or why it is left out: test, abandoned, not_clinical,
	// dead_before_call, third_party.
	ContactType string `json:"contact_type"`
	// ContactKind: first, call_back or re_contact; empty if not known.
	ContactKind string `json:"contact_kind"`
	// Contacts: distinct contacts (a transfer is one).
	Contacts int64 `json:"contacts"`
	// Records: triage records, one an animal.
	Records int64 `json:"records"`
}

// ContactTypes answers: How many contacts were there, and how many were left out as not clinical, and why?
// One row per contact type and kind.
func (d *DB) ContactTypes(ctx context.Context, s Scope) ([]ContactTypesRow, error) {
	return ask(ctx, d, "contact_types", names{}, s.args(), func(r *ContactTypesRow) []any {
		return []any{&r.ContactType, &r.ContactKind, &r.Contacts, &r.Records}
	})
}

// FlowRow is one row of Flow.
type FlowRow struct {
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// Episodes: by first clinical contact.
	Episodes int64 `json:"episodes"`
	// Immature: outcomes have not had time to arrive; the columns below count mature episodes.
	Immature int64 `json:"immature"`
	// NoOutcome: no outcome of any kind.
	NoOutcome int64 `json:"no_outcome"`
	// AdvisedVisit: seen as advised.
	AdvisedVisit int64 `json:"advised_visit"`
	// OwnDecision: seen because the owner decided so.
	OwnDecision int64 `json:"own_decision"`
	// CallBack: known by systematic follow-up.
	CallBack int64 `json:"call_back"`
	// Audit: known by the audit sample.
	Audit int64 `json:"audit"`
	// Lost: followed up but lost or without answer.
	Lost int64 `json:"lost"`
	// Unverified: with an outcome that does not settle the need for care on the same day.
	Unverified int64 `json:"unverified"`
	// Needed: needed care on the same day.
	Needed int64 `json:"needed"`
	// NotNeeded: did not.
	NotNeeded int64 `json:"not_needed"`
	// AuditSelected: drawn for the audit sample.
	AuditSelected int64 `json:"audit_selected"`
	// AuditResponded: answered it.
	AuditResponded int64 `json:"audit_responded"`
	// Conflicts: episodes whose outcomes disagree.
	Conflicts int64 `json:"conflicts"`
}

// Flow answers: Where do episodes go between advice and a known need? The counts of the flow diagram. One
// row per advised level.
func (d *DB) Flow(ctx context.Context, s Scope) ([]FlowRow, error) {
	return ask(ctx, d, "flow", names{}, s.args(), func(r *FlowRow) []any {
		return []any{&r.Level, &r.Episodes, &r.Immature, &r.NoOutcome, &r.AdvisedVisit, &r.OwnDecision, &r.CallBack, &r.Audit, &r.Lost, &r.Unverified, &r.Needed, &r.NotNeeded, &r.AuditSelected, &r.AuditResponded, &r.Conflicts}
	})
}

// PersonHurtRow is one row of PersonHurt.
type PersonHurtRow struct {
	// Month: yyyymm.
	Month int `json:"month"`
	// PersonHurt: scratched or bitten.
	PersonHurt string `json:"person_hurt"`
	// Handling: free, held, wrapped, refused; empty if not recorded.
	Handling string `json:"handling"`
	// Species: of the animal.
	Species string `json:"species"`
	// N: episodes.
	N int64 `json:"n"`
}

// PersonHurt answers: Was a person scratched or bitten during the checks, and how was the animal handled?
// One row per month, kind, handling and species.
func (d *DB) PersonHurt(ctx context.Context, s Scope) ([]PersonHurtRow, error) {
	return ask(ctx, d, "person_hurt", names{}, s.args(), func(r *PersonHurtRow) []any {
		return []any{&r.Month, &r.PersonHurt, &r.Handling, &r.Species, &r.N}
	})
}

// SubgroupsRow is one row of Subgroups.
type SubgroupsRow struct {
	// Property: species, sex, neutered, site, hours, complaint, independent or source.
	Property string `json:"property"`
	// Value: its value; empty if not recorded.
	Value string `json:"value"`
	// N: episodes.
	N int64 `json:"n"`
	// Escalated: advised same day or emergency.
	Escalated int64 `json:"escalated"`
}

// Subgroups answers: Who called, and about which animals? The make-up of the episodes, for readers who
// compare lines. One row per property and value, most frequent first.
func (d *DB) Subgroups(ctx context.Context, s Scope) ([]SubgroupsRow, error) {
	if w, err := d.walkCases(ctx, s); err != nil {
		return nil, err
	} else if w != nil {
		return w.subgroups(), nil
	}
	return ask(ctx, d, "subgroups", names{}, s.args(), func(r *SubgroupsRow) []any {
		return []any{&r.Property, &r.Value, &r.N, &r.Escalated}
	})
}
