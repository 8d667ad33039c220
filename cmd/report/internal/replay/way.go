package replay

import (
	"hindcheck/pipeline/criteria"
	"hindcheck/queries"
)

// way is what would have been advised under either set of rules.
type way struct {
	word, label, text string
	levels            func(*queries.ReplayCountsRow) (old, new int8)
}

// exact takes the level that the rules demand for the advice; kept keeps the
// advice where the advisor went above the rules. Where the advisor went below
// them, both take the rules' level: a lowering is a departure, not a rule.
var (
	exact = way{criteria.RulesFollowed, "rules followed exactly", "Every call gets the level that the rules demand, whatever the advisor said.",
		func(r *queries.ReplayCountsRow) (int8, int8) { return r.OldLevel, r.NewLevel }}
	kept = way{criteria.RaisesKept, "advisors' own raises kept", "Where the advisor went above the rules in force, that advice stands under both sets, unless the proposal demands more.",
		func(r *queries.ReplayCountsRow) (int8, int8) {
			if r.Level > r.OldLevel {
				return r.Level, max(r.Level, r.NewLevel)
			}
			return r.OldLevel, r.NewLevel
		}}
	bothWays = []way{exact, kept}
)

// Way judges both sets of rules in one way of following them.
type Way struct {
	// Way is rules_followed or raises_kept, Label and Text say it in words.
	Way   string `json:"way"`
	Label string `json:"label"`
	Text  string `json:"text"`
	// Raised and Lowered are calls in which the advisor went above or below the
	// old rules.
	Raised  int64 `json:"raised"`
	Lowered int64 `json:"lowered"`
	// Cuts in order: same day, then emergency.
	Cuts []Comparison `json:"cuts"`
}

func (b *builder) ways(r *Report) error {
	for _, w := range bothWays {
		out := Way{Way: w.word, Label: w.label, Text: w.text}
		for i := range b.rows {
			x := &b.rows[i]
			if x.Level > x.OldLevel {
				out.Raised += x.N
			}
			if x.Level > 0 && x.Level < x.OldLevel {
				out.Lowered += x.N
			}
		}
		for _, cut := range bothCuts {
			c, err := b.compare(w, cut)
			if err != nil {
				return err
			}
			out.Cuts = append(out.Cuts, c)
		}
		r.Ways = append(r.Ways, out)
	}
	return nil
}
