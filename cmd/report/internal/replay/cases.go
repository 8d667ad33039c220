package replay

import (
	"fmt"
	"slices"
	"time"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/pipeline/criteria"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/strict"
	"hindcheck/queries"
)

// Cases are the episodes with a known need that cross a cut if the rules are
// followed exactly.
type Cases struct {
	// Missed lists every animal in need that is newly below a cut, however good
	// the average.
	Missed []Case `json:"missed"`
	// Caught, Extra and Spared list the first of those in need newly sent in, and
	// of those not in need newly sent in and newly not.
	Caught []Case `json:"caught"`
	Extra  []Case `json:"extra"`
	Spared []Case `json:"spared"`
	// Totals count all of them by kind.
	Totals map[string]int64 `json:"totals"`
	// BelowUnknown counts those newly below a cut whose need at that cut is not
	// known. They stand in no list; those of Missed are not among them.
	BelowUnknown int64 `json:"below_need_unknown"`
}

// Case is one episode.
type Case struct {
	Episode   string    `json:"episode"`
	Call      string    `json:"call"`
	StartedAt time.Time `json:"started_at"`
	Site      string    `json:"site"`
	Species   string    `json:"species"`
	AgeMonths *int32    `json:"age_months"`
	Complaint string    `json:"complaint"`
	// Cuts that are crossed, in words.
	Cuts string `json:"cuts"`
	// Advice was given; Old and New are what the rules demand, NewHigh what the
	// proposal may demand once missing answers are known.
	Advice  string `json:"advice"`
	Old     string `json:"old"`
	New     string `json:"new"`
	NewHigh string `json:"new_high"`
	// Needed says how soon the animal truly had to be seen, so far as known.
	Needed       string   `json:"needed"`
	Route        string   `json:"route"`
	Disposition  string   `json:"disposition"`
	Died         bool     `json:"died"`
	OutcomeHours *float64 `json:"outcome_hours"`
	// OldFlags and NewFlags are the flags that fired at or above the lower of
	// the two levels.
	OldFlags []string `json:"old_flags"`
	NewFlags []string `json:"new_flags"`
	// Reviewed is who answers for a newly missed case, if anybody does.
	Reviewed *Answer `json:"reviewed,omitempty"`
}

// Answer is a named reviewer's reason.
type Answer struct {
	Reviewer     string `json:"reviewer"`
	Registration string `json:"registration"`
	Date         string `json:"date"`
	Reason       string `json:"reason"`
}

// defaultListed is how many cases of each kind but the newly missed are listed.
const defaultListed = 25

func (b *builder) cases(r *Report) error {
	rows := b.answers.Episodes
	c := Cases{Missed: []Case{}, Caught: []Case{}, Extra: []Case{}, Spared: []Case{}}
	c.Totals, c.BelowUnknown = b.crossed()
	lists := map[string]*[]Case{"missed": &c.Missed, "caught": &c.Caught, "extra": &c.Extra, "spared": &c.Spared}
	for i := range rows {
		*lists[rows[i].Kind] = append(*lists[rows[i].Kind], b.caseOf(&rows[i]))
	}
	r.Cases = c
	return b.answer(r.Cases.Missed)
}

// crossed counts the episodes of each kind at either cut; one that crosses both
// counts once. unknown are those that fall below a cut at which their need is not
// known, and below none at which they were in need.
func (b *builder) crossed() (out map[string]int64, unknown int64) {
	out = map[string]int64{"missed": 0, "caught": 0, "extra": 0, "spared": 0}
	for i := range b.rows {
		x := &b.rows[i]
		kinds, open := map[string]bool{}, false
		for _, cut := range bothCuts {
			c, need := int8(cut), needAt(x, cut)
			switch up, down := x.NewLevel >= c && x.OldLevel < c, x.OldLevel >= c && x.NewLevel < c; {
			case down && need == 1:
				kinds["missed"] = true
			case up && need == 1:
				kinds["caught"] = true
			case up && need == 0:
				kinds["extra"] = true
			case down && need == 0:
				kinds["spared"] = true
			case down:
				open = true
			}
		}
		for k := range kinds {
			out[k] += x.N
		}
		if open && !kinds["missed"] {
			unknown += x.N
		}
	}
	return out, unknown
}

func (b *builder) caseOf(x *queries.ReplayEpisodesRow) Case {
	c := Case{
		Episode: x.Episode, Call: x.Call, StartedAt: x.StartedAt.UTC(), Site: x.Site, Species: x.Species, AgeMonths: x.AgeMonths, Complaint: x.Complaint,
		Advice: review.AdviceLabel(x.Level), Old: review.LevelLabel(x.OldLevel), New: review.LevelLabel(x.NewLevel), NewHigh: review.LevelLabel(x.NewHigh),
		Needed: needWords(x), Route: review.RouteLabel(x.Route), Disposition: x.Disposition, Died: x.Died, OutcomeHours: x.OutcomeHours,
		OldFlags: flagIDs(b.oldSet, x.OldFired, min(x.OldLevel, x.NewLevel)), NewFlags: flagIDs(b.opt.Proposed.Set, x.NewFired, min(x.OldLevel, x.NewLevel)),
	}
	switch {
	case x.Emergency && x.SameDay:
		c.Cuts = "emergency and same day"
	case x.Emergency:
		c.Cuts = "emergency"
	default:
		c.Cuts = "same day"
	}
	return c
}

func needWords(x *queries.ReplayEpisodesRow) string {
	switch {
	case x.NeedEmergency == 1:
		return "at once"
	case x.NeedSameDay == 1 && x.NeedEmergency == 0:
		return "the same day"
	case x.NeedSameDay == 1:
		return "the same day or sooner"
	case x.NeedEmergency == 0 && x.NeedSameDay < 0:
		return "not at once"
	}
	return "neither"
}

func flagIDs(set *rules.Set, fired []int, from int8) []string {
	out := []string{}
	for _, i := range fired {
		if i < len(set.Flags) && int8(set.Flags[i].Demands) >= from {
			out = append(out, set.Flags[i].ID)
		}
	}
	return out
}

// answer puts the reviewers' reasons beside the newly missed cases. A reason for
// a case that is not newly missed is stale: either the episode does not exist,
// or this proposal no longer misses it, and whoever reads the file must know.
func (b *builder) answer(missed []Case) error {
	c := b.opt.Criteria
	if c == nil {
		return nil
	}
	var problems strict.Problems
	for _, given := range c.Reviewed {
		i := slices.IndexFunc(missed, func(m Case) bool { return m.Episode == given.Episode })
		switch {
		case i < 0:
			problems = append(problems, &strict.Problem{File: c.File, Line: given.Line, Path: "reviewed",
				Expected: "an episode that this proposal newly misses", Found: given.Episode + ", which it does not",
				Remedy: "delete the entry, or correct the pseudonym; the list of newly missed cases holds those that need a reason"})
		case given.Date.Before(missed[i].StartedAt.Truncate(24 * time.Hour)):
			problems = append(problems, &strict.Problem{File: c.File, Line: given.Line, Path: "reviewed",
				Expected: "a day on or after that of the call, " + missed[i].StartedAt.Format(time.DateOnly),
				Found:    given.Date.Format(time.DateOnly), Remedy: "correct the day"})
		default:
			missed[i].Reviewed = answerOf(given)
		}
	}
	if len(problems) > 0 {
		return fmt.Errorf("%w: %w", queries.ErrParameter, problems)
	}
	return nil
}

func answerOf(r criteria.Reviewed) *Answer {
	return &Answer{Reviewer: r.Reviewer, Registration: r.Registration, Date: r.Date.Format(time.DateOnly), Reason: r.Reason}
}
