package queries

// Questions about single episodes, for the cases that a line discusses.

import (
	"context"
	"strings"
	"time"
)

// CaseAnimalsRow is one row of CaseAnimals.
type CaseAnimalsRow struct {
	// Episode: pseudonym of the episode.
	Episode string `json:"episode"`
	// Month: yyyymm.
	Month int `json:"month"`
	// StartedAt: first contact, UTC.
	StartedAt time.Time `json:"started_at"`
	// Advisor: pseudonym of the advisor; empty if not recorded.
	Advisor string `json:"advisor"`
	// Site: where the contact was taken.
	Site string `json:"site"`
	// Species: of the animal.
	Species string `json:"species"`
	// Sex: male, female, unknown; empty if not recorded.
	Sex string `json:"sex"`
	// Neutered: yes, no, unknown; empty if not recorded.
	Neutered string `json:"neutered"`
	// BreedGroup: coded; empty if not recorded.
	BreedGroup string `json:"breed_group"`
	// Complaint: coded reason for the call.
	Complaint string `json:"complaint"`
	// AgeMonths: age, -1 if not recorded.
	AgeMonths int `json:"age_months"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// LaterLevel: highest advice at later contacts, 0 none.
	LaterLevel int8 `json:"later_level"`
	// RuleLevel: level that the rules demand, 0 undetermined.
	RuleLevel int8 `json:"rule_level"`
	// RecordedRuleLevel: level that the rules said on the telephone, 0 not recorded.
	RecordedRuleLevel int8 `json:"recorded_rule_level"`
	// NeedEmergency: 1 needed it, 0 did not, -1 not verified.
	NeedEmergency int8 `json:"need_emergency"`
	// NeedSameDay: the same for care on the same day.
	NeedSameDay int8 `json:"need_same_day"`
	// Attended: 1 seen by a vet, 0 on record as not attending, -1 unknown.
	Attended int8 `json:"attended"`
	// OutcomeHours: hours from the first contact to the outcome, null unknown.
	OutcomeHours *float64 `json:"outcome_hours"`
	// Values: stored number of each finding in the order of the dictionary.
	Values []int `json:"values"`
}

// episodeArgs are the arguments of a question about episodes. within names the
// months of their first contacts where they are known, so that no other is read.
func episodeArgs(episodes []string, within []Scope) map[string]any {
	args := map[string]any{"episodes": strings.Join(episodes, ",")}
	for _, s := range within {
		args["from_month"], args["to_month"] = s.From, s.To
	}
	return args
}

// CaseAnimals answers: What did the line know of these episodes at the first contact, as the rules see
// it, and what became of them? One row per episode that is on record, in the order of the first
// contact.
func (d *DB) CaseAnimals(ctx context.Context, episodes []string, within ...Scope) ([]CaseAnimalsRow, error) {
	if len(episodes) == 0 {
		return []CaseAnimalsRow{}, nil
	}
	return ask(ctx, d, "case_animals", names{}, episodeArgs(episodes, within), func(r *CaseAnimalsRow) []any {
		return []any{&r.Episode, &r.Month, &r.StartedAt, &r.Advisor, &r.Site, &r.Species, &r.Sex, &r.Neutered, &r.BreedGroup, &r.Complaint, &r.AgeMonths, &r.Level, &r.LaterLevel, &r.RuleLevel, &r.RecordedRuleLevel, &r.NeedEmergency, &r.NeedSameDay, &r.Attended, &r.OutcomeHours, (*intList)(&r.Values)}
	})
}

// CaseContactsRow is one row of CaseContacts.
type CaseContactsRow struct {
	// Episode: pseudonym of the episode.
	Episode string `json:"episode"`
	// Call: pseudonym of the record.
	Call string `json:"call"`
	// Contact: pseudonym of the contact; a transfer is one contact with two records.
	Contact string `json:"contact"`
	// ContactKind: first, call_back or re_contact; empty if not known.
	ContactKind string `json:"contact_kind"`
	// StartedAt: UTC.
	StartedAt time.Time `json:"started_at"`
	// Level: advice given; empty if none is on record.
	Level string `json:"level"`
	// RuleLevel: what the rules said on the telephone; empty if not recorded.
	RuleLevel string `json:"rule_level"`
	// OverrideReason: why the advisor departed from the rules; empty if not recorded.
	OverrideReason string `json:"override_reason"`
	// SafetyNet: yes, no, or empty if it is not recorded whether the owner was told when to ring again.
	SafetyNet string `json:"safety_net"`
	// PersonHurt: none, scratched, bitten; empty if not recorded.
	PersonHurt string `json:"person_hurt"`
	// FormalComplaint: none, or what a formal complaint was about; empty if not looked up.
	FormalComplaint string `json:"formal_complaint"`
	// CallSeconds: length of the call in seconds, null if not recorded.
	CallSeconds *int64 `json:"call_seconds"`
}

// CaseContacts answers: Which contacts make up these episodes, and what was said in each? One row per
// record of a clinical contact, in the order of time.
func (d *DB) CaseContacts(ctx context.Context, episodes []string, within ...Scope) ([]CaseContactsRow, error) {
	if len(episodes) == 0 {
		return []CaseContactsRow{}, nil
	}
	return ask(ctx, d, "case_contacts", names{}, episodeArgs(episodes, within), func(r *CaseContactsRow) []any {
		return []any{&r.Episode, &r.Call, &r.Contact, &r.ContactKind, &r.StartedAt, &r.Level, &r.RuleLevel, &r.OverrideReason, &r.SafetyNet, &r.PersonHurt, &r.FormalComplaint, &r.CallSeconds}
	})
}

// CaseChecksRow is one row of CaseChecks.
type CaseChecksRow struct {
	// Episode: pseudonym of the episode.
	Episode string `json:"episode"`
	// Call: pseudonym of the record.
	Call string `json:"call"`
	// Seq: number of the row within the call, 0 if not recorded.
	Seq int `json:"seq"`
	// Finding: id of the finding.
	Finding string `json:"finding"`
	// Observer: owner, advisor_video or vet; empty if not recorded.
	Observer string `json:"observer"`
	// State: done, not_possible, declined or not_asked.
	State string `json:"state"`
	// Reason: why it was not done; empty if not recorded.
	Reason string `json:"reason"`
	// ValueCode: word of a coded finding; empty for a number or no reading.
	ValueCode string `json:"value_code"`
	// ValueNumber: reading in the finding's unit, null for a word or no reading.
	ValueNumber *float64 `json:"value_number"`
	// Handling: free, held, wrapped, refused; empty if not recorded.
	Handling string `json:"handling"`
	// AskedAt: UTC, null if not recorded.
	AskedAt *time.Time `json:"asked_at"`
	// Treated: whether treatment had begun when a vet read this; null if not known.
	Treated *bool `json:"treated"`
}

// CaseChecks answers: Which checks were made in these episodes, in the order in which they were asked,
// and what was read? One row per check, in the order asked within its call.
func (d *DB) CaseChecks(ctx context.Context, episodes []string, within ...Scope) ([]CaseChecksRow, error) {
	if len(episodes) == 0 {
		return []CaseChecksRow{}, nil
	}
	if rows, ok := d.keptChecks(episodes, within); ok {
		return rows, nil
	}
	return ask(ctx, d, "case_checks", names{}, episodeArgs(episodes, within), func(r *CaseChecksRow) []any {
		return []any{&r.Episode, &r.Call, &r.Seq, &r.Finding, &r.Observer, &r.State, &r.Reason, &r.ValueCode, &r.ValueNumber, &r.Handling, &r.AskedAt, &r.Treated}
	})
}

// CaseOutcomesRow is one row of CaseOutcomes.
type CaseOutcomesRow struct {
	// Episode: pseudonym of the episode.
	Episode string `json:"episode"`
	// Source: vet, owner_follow_up, panel or advisor.
	Source string `json:"source"`
	// Route: how it came to be known.
	Route string `json:"route"`
	// Practice: of a visit; empty if not stated.
	Practice string `json:"practice"`
	// SeenAt: UTC.
	SeenAt time.Time `json:"seen_at"`
	// VetLevel: level of the outcome; empty if not stated.
	VetLevel string `json:"vet_level"`
	// Disposition: what became of the animal; empty if not stated.
	Disposition string `json:"disposition"`
	// DiagnosisGroup: coded; empty if not stated.
	DiagnosisGroup string `json:"diagnosis_group"`
	// EuthanasiaReason: empty if not stated.
	EuthanasiaReason string `json:"euthanasia_reason"`
	// NoAttendReason: why the animal did not attend; empty if not stated.
	NoAttendReason string `json:"no_attend_reason"`
	// Responded: yes, no, or empty if it is not on record whether the owner answered.
	Responded string `json:"responded"`
	// Reviewer: pseudonym of who reviewed the case; empty if nobody did.
	Reviewer string `json:"reviewer"`
	// Foreseeable: yes, no, unsure, or empty.
	Foreseeable string `json:"foreseeable"`
	// Avoidable: yes, no, unsure, or empty.
	Avoidable string `json:"avoidable"`
	// ReviewReason: the reviewer's reason, or empty.
	ReviewReason string `json:"review_reason"`
}

// CaseOutcomes answers: What is on record of these episodes after the advice: visits, follow-up, case
// reviews? One row per outcome, in the order of time.
func (d *DB) CaseOutcomes(ctx context.Context, episodes []string, within ...Scope) ([]CaseOutcomesRow, error) {
	if len(episodes) == 0 {
		return []CaseOutcomesRow{}, nil
	}
	return ask(ctx, d, "case_outcomes", names{}, episodeArgs(episodes, within), func(r *CaseOutcomesRow) []any {
		return []any{&r.Episode, &r.Source, &r.Route, &r.Practice, &r.SeenAt, &r.VetLevel, &r.Disposition, &r.DiagnosisGroup, &r.EuthanasiaReason, &r.NoAttendReason, &r.Responded, &r.Reviewer, &r.Foreseeable, &r.Avoidable, &r.ReviewReason}
	})
}

// CaseJudgementsRow is one row of CaseJudgements.
type CaseJudgementsRow struct {
	// Episode: pseudonym of the episode.
	Episode string `json:"episode"`
	// Source: panel or advisor.
	Source string `json:"source"`
	// Reviewer: pseudonym of who judged; empty if not recorded.
	Reviewer string `json:"reviewer"`
	// VetLevel: level that the reviewer found to have been needed; empty if not stated.
	VetLevel string `json:"vet_level"`
	// Foreseeable: yes, no, unsure, or empty.
	Foreseeable string `json:"foreseeable"`
	// Avoidable: yes, no, unsure, or empty.
	Avoidable string `json:"avoidable"`
	// ReviewReason: coded, or empty.
	ReviewReason string `json:"review_reason"`
}

// CaseJudgements answers: How did reviewers judge cases, and what do advisors contest? One row per
// judgement.
func (d *DB) CaseJudgements(ctx context.Context, s Scope) ([]CaseJudgementsRow, error) {
	return ask(ctx, d, "case_judgements", names{}, s.args(), func(r *CaseJudgementsRow) []any {
		return []any{&r.Episode, &r.Source, &r.Reviewer, &r.VetLevel, &r.Foreseeable, &r.Avoidable, &r.ReviewReason}
	})
}

// UsualChecksRow is one row of UsualChecks.
type UsualChecksRow struct {
	// Species: of the animal.
	Species string `json:"species"`
	// Complaint: coded reason for the call.
	Complaint string `json:"complaint"`
	// Episodes: by first clinical contact.
	Episodes int64 `json:"episodes"`
	// Put: for each finding in the order of the dictionary the episodes on which it was put: done, not
	// possible, declined, or left out only because an emergency sign had ended the questions.
	Put []int `json:"put"`
}

// UsualChecks answers: Which checks does the line usually ask for, by species and reason for the call?
// One row per species and reason for the call.
func (d *DB) UsualChecks(ctx context.Context, s Scope) ([]UsualChecksRow, error) {
	if w, err := d.walkCases(ctx, s); err != nil {
		return nil, err
	} else if w != nil {
		return w.usual(), nil
	}
	return ask(ctx, d, "usual_checks", names{}, s.args(), func(r *UsualChecksRow) []any {
		return []any{&r.Species, &r.Complaint, &r.Episodes, (*intList)(&r.Put)}
	})
}

// NeedlessEscalationsRow is one row of NeedlessEscalations.
type NeedlessEscalationsRow struct {
	// Flag: position of the flag; -1: no flag that demands the level fired, the advisor escalated.
	Flag int `json:"flag"`
	// Alone: whether it was the only flag that demanded the level.
	Alone bool `json:"alone"`
	// Need: 1 needed it, 0 did not.
	Need int8 `json:"need"`
	// N: episodes; one with several flags stands under each of them.
	N int64 `json:"n"`
}

// NeedlessEscalations answers: Which flag sent in animals that turned out not to need it? Mature
// escalated episodes whose need is known, by the flags that demanded the level: one alone, several
// together, or none. One row per flag, whether it stood alone, and need.
func (d *DB) NeedlessEscalations(ctx context.Context, s Scope, cut int) ([]NeedlessEscalationsRow, error) {
	return ask(ctx, d, "needless_escalations", names{}, with(s.args(), "cut", cut), func(r *NeedlessEscalationsRow) []any {
		return []any{&r.Flag, &r.Alone, &r.Need, &r.N}
	})
}
