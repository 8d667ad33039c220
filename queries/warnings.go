package queries

// Questions about what may have gone wrong and needs no outcome.

import (
	"context"
	"time"
)

// EarlyWarningsRow is one row of EarlyWarnings.
type EarlyWarningsRow struct {
	// Month: yyyymm.
	Month int `json:"month"`
	// Episode: pseudonym of the episode.
	Episode string `json:"episode"`
	// Call: pseudonym of the first contact.
	Call string `json:"call"`
	// StartedAt: first contact, UTC.
	StartedAt time.Time `json:"started_at"`
	// Site: where the contact was taken.
	Site string `json:"site"`
	// Species: of the animal.
	Species string `json:"species"`
	// Complaint: coded reason for the call.
	Complaint string `json:"complaint"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// LaterLevel: highest advice at later contacts of the episode, 0 none.
	LaterLevel int8 `json:"later_level"`
	// Recontact24h: whether the owner rang again within 24 hours.
	Recontact24h bool `json:"recontact_24h"`
	// RaisedLater: whether a later contact was advised higher.
	RaisedLater bool `json:"raised_later"`
	// Died: whether the animal died or was put to sleep.
	Died bool `json:"died"`
	// EuthanasiaReason: why it was put to sleep; empty if it was not or no reason is known.
	EuthanasiaReason string `json:"euthanasia_reason"`
	// FormalComplaint: what a formal complaint was about; empty if none is on record.
	FormalComplaint string `json:"formal_complaint"`
	// OutcomeHours: hours from the first contact to the outcome, null unknown.
	OutcomeHours *float64 `json:"outcome_hours"`
}

// EarlyWarnings answers: Which episodes show, without waiting for outcomes, that something may have
// gone wrong: the owner rang again within 24 hours, a later contact was advised higher, the animal
// died, or somebody complained? Cases, not a rate. One row per episode with a warning, the gravest
// first: at most so many, or all of them if most is 0.
func (d *DB) EarlyWarnings(ctx context.Context, s Scope, most int) ([]EarlyWarningsRow, error) {
	return ask(ctx, d, "early_warnings", names{most: most}, s.args(), func(r *EarlyWarningsRow) []any {
		return []any{&r.Month, &r.Episode, &r.Call, &r.StartedAt, &r.Site, &r.Species, &r.Complaint, &r.Level, &r.LaterLevel, &r.Recontact24h, &r.RaisedLater, &r.Died, &r.EuthanasiaReason, &r.FormalComplaint, &r.OutcomeHours}
	})
}

// WarningCountsRow is one row of WarningCounts.
type WarningCountsRow struct {
	// Month: yyyymm.
	Month int `json:"month"`
	// Episodes: by first clinical contact.
	Episodes int64 `json:"episodes"`
	// Recontact24h: the owner rang again within 24 hours.
	Recontact24h int64 `json:"recontact_24h"`
	// RaisedLater: a later contact was advised higher.
	RaisedLater int64 `json:"raised_later"`
	// Died: died or was put to sleep.
	Died int64 `json:"died"`
	// Complained: with a formal complaint on record.
	Complained int64 `json:"complained"`
	// ComplaintsLookedUp: episodes on which the register of complaints was asked.
	ComplaintsLookedUp int64 `json:"complaints_looked_up"`
	// AnyWarning: with at least one of these.
	AnyWarning int64 `json:"any_warning"`
}

// WarningCounts answers: How many episodes of each month carry each early warning, and of how many is
// it on record at all whether somebody complained? One row per month with episodes.
func (d *DB) WarningCounts(ctx context.Context, s Scope) ([]WarningCountsRow, error) {
	return ask(ctx, d, "warning_counts", names{}, s.args(), func(r *WarningCountsRow) []any {
		return []any{&r.Month, &r.Episodes, &r.Recontact24h, &r.RaisedLater, &r.Died, &r.Complained, &r.ComplaintsLookedUp, &r.AnyWarning}
	})
}

// AttendanceRow is one row of Attendance.
type AttendanceRow struct {
	// Level: advice at the first contact, 3 same day or 4 emergency.
	Level int8 `json:"level"`
	// Went: seen by a vet.
	Went int64 `json:"went"`
	// StayedAway: on record as not attending.
	StayedAway int64 `json:"stayed_away"`
	// Unknown: no word either way.
	Unknown int64 `json:"unknown"`
}

// Attendance answers: Of the animals that were told to attend, how many went, did not go, or are
// unknown? One row per level.
func (d *DB) Attendance(ctx context.Context, s Scope) ([]AttendanceRow, error) {
	return ask(ctx, d, "attendance", names{}, s.args(), func(r *AttendanceRow) []any {
		return []any{&r.Level, &r.Went, &r.StayedAway, &r.Unknown}
	})
}

// PersonHurtCallsRow is one row of PersonHurtCalls.
type PersonHurtCallsRow struct {
	// Month: yyyymm.
	Month int `json:"month"`
	// Call: pseudonym of the record.
	Call string `json:"call"`
	// StartedAt: UTC.
	StartedAt time.Time `json:"started_at"`
	// Advisor: pseudonym of the advisor; empty if not recorded.
	Advisor string `json:"advisor"`
	// Species: of the animal; empty if not recorded.
	Species string `json:"species"`
	// PersonHurt: scratched or bitten.
	PersonHurt string `json:"person_hurt"`
	// Handling: the firmest hold recorded in the call: refused, wrapped, held, free; empty if not
	// recorded.
	Handling string `json:"handling"`
	// Touched: findings that were tried with the animal held, wrapped or resisting, in the order asked.
	Touched []string `json:"touched"`
	// Resisted: findings that the animal would not allow, in the order asked.
	Resisted []string `json:"resisted"`
}

// PersonHurtCalls answers: In which calls was a person scratched or bitten, how was the animal
// handled, and at which check did it resist? One row per call in which a person was hurt.
func (d *DB) PersonHurtCalls(ctx context.Context, s Scope) ([]PersonHurtCallsRow, error) {
	return ask(ctx, d, "person_hurt_calls", names{}, s.args(), func(r *PersonHurtCallsRow) []any {
		return []any{&r.Month, &r.Call, &r.StartedAt, &r.Advisor, &r.Species, &r.PersonHurt, &r.Handling, (*stringList)(&r.Touched), (*stringList)(&r.Resisted)}
	})
}
