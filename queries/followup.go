package queries

// Questions about the drawn follow-up sample.

import (
	"context"
	"time"
)

// AuditFrameRow is one row of AuditFrame.
type AuditFrameRow struct {
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
	// Level: advice at the first contact, 1 home care to 4 emergency.
	Level int8 `json:"level"`
	// NoShow: whether a practice has noted that the animal did not come.
	NoShow bool `json:"no_show"`
	// Standing: eligible; seen (a visit is on record); followed_up (a call-back reached the owner); drawn
	// (drawn before).
	Standing string `json:"standing"`
	// DrawnSince: whether an answer or an attempt of a drawn sample was written down at that moment or
	// later.
	DrawnSince bool `json:"drawn_since"`
}

// AuditFrame answers: Which episodes may be drawn for telephone follow-up: not escalated and not known
// to have been seen, or escalated and without a visit on record, as it was known on the day of the
// draw? One row per episode with advice on record, in the order of the pseudonyms.
func (d *DB) AuditFrame(ctx context.Context, from, to, knownBy time.Time) ([]AuditFrameRow, error) {
	return ask(ctx, d, "audit_frame", names{}, map[string]any{"from_time": from.UTC(), "to_time": to.UTC(), "known_by": knownBy.UTC()}, func(r *AuditFrameRow) []any {
		return []any{&r.Episode, &r.Call, &r.StartedAt, &r.Site, &r.Species, &r.Complaint, &r.Level, &r.NoShow, &r.Standing, &r.DrawnSince}
	})
}

// AuditAnswersRow is one row of AuditAnswers.
type AuditAnswersRow struct {
	// Level: advice at the first contact, 1 home care to 4 emergency.
	Level int8 `json:"level"`
	// Seen: whether a vet's visit says what was found; such an episode needs no follow-up.
	Seen bool `json:"seen"`
	// Drawn: whether it was drawn for the sample.
	Drawn bool `json:"drawn"`
	// Probability: with which it was drawn; null if not drawn or not recorded.
	Probability *float64 `json:"probability"`
	// Answered: whether the owner answered and the answer settles the need.
	Answered bool `json:"answered"`
	// Need: 1 needed it, 0 did not, -1 not known.
	Need int8 `json:"need"`
	// N: episodes.
	N int64 `json:"n"`
}

// AuditAnswers answers: What did the drawn follow-up sample find, and of how many episodes was it
// drawn? Mature episodes with advice. One row per level, standing, probability and need.
func (d *DB) AuditAnswers(ctx context.Context, s Scope, cut int) ([]AuditAnswersRow, error) {
	return ask(ctx, d, "audit_answers", names{}, with(s.args(), "cut", cut), func(r *AuditAnswersRow) []any {
		return []any{&r.Level, &r.Seen, &r.Drawn, &r.Probability, &r.Answered, &r.Need, &r.N}
	})
}
