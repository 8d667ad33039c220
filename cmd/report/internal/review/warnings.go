package review

import (
	"time"

	"hindcheck/queries"
)

// Warnings are signs that something may have gone wrong which need no outcome:
// the owner rang again within 24 hours, a later contact was advised higher, the
// animal died, somebody complained. They are cases to look at and no rate: a
// line that asks owners to ring again has more of them.
type Warnings struct {
	// Months are the one under review and all later ones.
	Months []WarningMonth `json:"months"`
	// Cases are the gravest of them, at most listed many; Total is how many
	// there are.
	Cases []Warning `json:"cases"`
	Total int64     `json:"total"`
}

// WarningMonth counts the episodes of one month with each warning; an episode
// may have several.
type WarningMonth struct {
	Month    string `json:"month"`
	Label    string `json:"label"`
	Mature   bool   `json:"mature"`
	Episodes int64  `json:"episodes"`
	// Any has at least one warning.
	Any          int64 `json:"any"`
	Recontact24h int64 `json:"recontact_24h"`
	RaisedLater  int64 `json:"raised_later"`
	Died         int64 `json:"died"`
	Complained   int64 `json:"complained"`
	// LookedUp is on how many episodes the register of complaints was asked; 0
	// means that complaints are not recorded, not that there were none.
	LookedUp int64 `json:"complaints_looked_up"`
}

// Warning is one episode with at least one warning.
type Warning struct {
	Episode   string    `json:"episode"`
	Month     string    `json:"month"`
	StartedAt time.Time `json:"started_at"`
	Site      string    `json:"site"`
	Species   string    `json:"species"`
	Complaint string    `json:"complaint"`
	// Advised and Later are level labels; Later is empty if no later contact
	// advised anything.
	Advised string `json:"advised"`
	Later   string `json:"later"`
	// Signs are the warnings in words, the gravest first.
	Signs []string `json:"signs"`
	// Hours from the first contact to the outcome, if known.
	Hours *float64 `json:"hours,omitempty"`
}

func (b *builder) fillWarnings(r *Review) error {
	scope := b.scope
	scope.From = scope.To
	if n := len(b.months); n > 0 {
		scope.To = max(scope.To, b.months[n-1].Month)
	}
	counts, err := b.db.WarningCounts(b.ctx, scope)
	if err != nil {
		return err
	}
	r.Warnings = Warnings{Months: []WarningMonth{}, Cases: []Warning{}}
	for _, x := range counts {
		r.Warnings.Total += x.AnyWarning
		r.Warnings.Months = append(r.Warnings.Months, WarningMonth{
			Month: queries.FormatMonth(x.Month), Label: monthName(x.Month), Mature: b.oldEnough(x.Month), Episodes: x.Episodes, Any: x.AnyWarning,
			Recontact24h: x.Recontact24h, RaisedLater: x.RaisedLater, Died: x.Died, Complained: x.Complained, LookedUp: x.ComplaintsLookedUp,
		})
	}
	rows, err := b.db.EarlyWarnings(b.ctx, scope, listed)
	if err != nil {
		return err
	}
	for _, x := range rows {
		r.Warnings.Cases = append(r.Warnings.Cases, warning(x))
	}
	return nil
}

func warning(x queries.EarlyWarningsRow) Warning {
	w := Warning{
		Episode: x.Episode, Month: queries.FormatMonth(x.Month), StartedAt: x.StartedAt.UTC(), Site: x.Site, Species: x.Species, Complaint: x.Complaint,
		Advised: word(levelLabels, x.Level), Signs: []string{}, Hours: x.OutcomeHours,
	}
	if x.LaterLevel > 0 {
		w.Later = word(levelLabels, x.LaterLevel)
	}
	switch {
	case x.Died && x.EuthanasiaReason != "":
		w.Signs = append(w.Signs, "put to sleep, reason "+x.EuthanasiaReason)
	case x.Died:
		w.Signs = append(w.Signs, "died")
	}
	if x.FormalComplaint != "" {
		w.Signs = append(w.Signs, "formal complaint about "+map[string]string{"advice": "the advice", "conduct": "how the caller was spoken to", "other": "something else"}[x.FormalComplaint])
	}
	if x.RaisedLater {
		w.Signs = append(w.Signs, "advised higher later")
	}
	if x.Recontact24h {
		w.Signs = append(w.Signs, "rang again within 24 hours")
	}
	return w
}
