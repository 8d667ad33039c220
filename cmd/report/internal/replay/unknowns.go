package replay

import (
	"fmt"

	"hindcheck/cmd/report/internal/review"
)

// Unknown says how much of the answer at a cut rests on answers that nobody has,
// and on which side the evidence is thin.
type Unknown struct {
	Cut   string `json:"cut"`
	Label string `json:"label"`
	Calls int64  `json:"calls"`
	// OldOpen and NewOpen are calls whose side of the cut depends on answers that
	// were not given, under the old and under the new rules.
	OldOpen int64 `json:"old_open"`
	NewOpen int64 `json:"new_open"`
	// Up and Down are the calls that cross the cut.
	Up   Side `json:"up"`
	Down Side `json:"down"`
	// Thin says in words on which side less is known.
	Thin string `json:"thin"`
}

// Side is one direction across a cut.
type Side struct {
	Calls int64 `json:"calls"`
	// OnUnknown are those that cross only because of how unknown answers are
	// taken: newly above without any flag that fired, or newly below though the
	// missing answers could bring them back.
	OnUnknown int64 `json:"on_unknown"`
	// Mature ones, of which Verified have a known need, Sampled of these by
	// follow-up or as a visit that had been advised, and Needed were in need.
	Mature   int64 `json:"mature"`
	Verified int64 `json:"verified"`
	Sampled  int64 `json:"sampled"`
	Needed   int64 `json:"needed"`
}

func (b *builder) unknowns(r *Report) error {
	for _, cut := range bothCuts {
		c := int8(cut)
		u := Unknown{Cut: review.LevelWord(c), Label: review.CutLabel(cut)}
		for i := range b.rows {
			x := &b.rows[i]
			u.Calls += x.N
			if x.OldLow < c && x.OldHigh >= c {
				u.OldOpen += x.N
			}
			if x.NewLow < c && x.NewHigh >= c {
				u.NewOpen += x.N
			}
			old, new := x.OldLevel >= c, x.NewLevel >= c
			if old == new {
				continue
			}
			side, unknown := &u.Up, x.NewLow < c
			if old {
				side, unknown = &u.Down, x.NewHigh >= c
			}
			side.Calls += x.N
			if unknown {
				side.OnUnknown += x.N
			}
			if !x.Mature {
				continue
			}
			side.Mature += x.N
			if need := needAt(x, cut); need >= 0 {
				side.Verified += x.N
				if x.Level >= sameDay || x.Route >= 3 {
					side.Sampled += x.N
				}
				if need == 1 {
					side.Needed += x.N
				}
			}
		}
		u.Thin = thin(u.Up, u.Down)
		r.Unknowns = append(r.Unknowns, u)
	}
	return nil
}

func thin(up, down Side) string {
	share := func(s Side) float64 { return float64(s.Verified) / float64(max(1, s.Mature)) }
	say := func(s Side) string { return fmt.Sprintf("%s of %s", whole(s.Verified), calls(s.Mature)) }
	switch {
	case up.Mature == 0 && down.Mature == 0:
		return "no mature call crosses the cut"
	case down.Mature == 0:
		return "calls only move up; the need of " + say(up) + " is known"
	case up.Mature == 0:
		return "calls only move down; the need of " + say(down) + " is known"
	case share(up) < share(down):
		return "less is known of calls that move up (" + say(up) + ") than of those that move down (" + say(down) + ")"
	}
	return "less is known of calls that move down (" + say(down) + ") than of those that move up (" + say(up) + ")"
}
