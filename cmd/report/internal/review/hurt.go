package review

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"hindcheck/queries"
)

// HurtCall is a call in which a person was scratched or bitten.
type HurtCall struct {
	Call      string    `json:"call"`
	StartedAt time.Time `json:"started_at"`
	Species   string    `json:"species"`
	Hurt      string    `json:"hurt"`
	Handling  string    `json:"handling"`
	// Resisted are checks that the animal would not allow; Touched those for
	// which it was held or wrapped. Which of them led to the bite is not on record.
	Resisted []string `json:"resisted"`
	Touched  []string `json:"touched"`
}

// fillHurt lists the calls of the month, and the checks that were being made:
// where there are more than a page can list, bites before scratches, and of each
// the latest.
func (b *builder) fillHurt(r *Review) error {
	scope := b.scope
	scope.From = scope.To
	rows, err := b.db.PersonHurtCalls(b.ctx, scope)
	if err != nil {
		return err
	}
	r.Safety.Calls, r.Safety.MoreCalls = []HurtCall{}, int64(max(0, len(rows)-listed))
	if r.Safety.MoreCalls > 0 {
		slices.SortStableFunc(rows, func(a, b queries.PersonHurtCallsRow) int {
			return cmp.Or(strings.Compare(a.PersonHurt, b.PersonHurt), b.StartedAt.Compare(a.StartedAt)) // bitten, scratched
		})
		rows = rows[:listed]
		slices.SortStableFunc(rows, func(a, b queries.PersonHurtCallsRow) int {
			return cmp.Or(a.StartedAt.Compare(b.StartedAt), strings.Compare(a.Call, b.Call))
		})
	}
	for _, x := range rows {
		r.Safety.Calls = append(r.Safety.Calls, b.hurtCall(x))
	}
	return nil
}

func (b *builder) hurtCall(x queries.PersonHurtCallsRow) HurtCall {
	return HurtCall{Call: x.Call, StartedAt: x.StartedAt.UTC(), Species: x.Species, Hurt: x.PersonHurt, Handling: x.Handling,
		Resisted: b.labels(x.Resisted), Touched: b.labels(x.Touched)}
}

// labels are the titles of findings.
func (b *builder) labels(ids []string) []string {
	out := make([]string, len(ids))
	for i, id := range ids {
		out[i] = id
		for _, f := range b.db.Meta().Findings {
			if f.ID == id && f.Label != "" {
				out[i] = f.Label
			}
		}
	}
	return out
}
