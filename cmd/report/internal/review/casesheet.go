package review

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"hindcheck/queries"
)

// CaseSheets are the sheets by which reviewers judge single cases.
type CaseSheets struct {
	AsOf       AsOf   `json:"as_of"`
	Month      string `json:"month"`
	MonthLabel string `json:"month_label"`
	RuleSet    string `json:"ruleset"`
	// Cases in the order of time, which tells nothing of how they ended.
	Cases []Case `json:"cases"`
	// Reasons are those a reviewer may choose.
	Reasons []ReasonCount `json:"reasons"`
}

// BuildCaseSheets gathers the cases of one month that await review, or the
// episodes named.
func BuildCaseSheets(ctx context.Context, db *queries.DB, opt Options, episodes []string) (*CaseSheets, error) {
	b, err := newBuilder(ctx, db, opt)
	if err != nil {
		return nil, err
	}
	out := &CaseSheets{AsOf: b.asOf(), Month: b.period.Month, MonthLabel: b.period.MonthLabel, RuleSet: db.Meta().RuleSet, Reasons: newReasonCounts()}
	if len(episodes) == 0 {
		rows, err := b.missedRows()
		if err != nil {
			return nil, err
		}
		for _, x := range rows {
			if x.Month == b.scope.To {
				episodes = append(episodes, x.Episode)
			}
		}
	}
	out.Cases, err = b.casesOf(episodes)
	return out, err
}

// casesOf tells the stories of episodes, in the order of time. One that is not
// on record is an error.
func (b *builder) casesOf(episodes []string) ([]Case, error) {
	s, err := b.stories(episodes)
	if err != nil {
		return nil, err
	}
	out := []Case{}
	for _, id := range episodes {
		a, ok := s.animals[id]
		if !ok {
			return nil, fmt.Errorf("%w: no episode %s; give a call's pseudonym as the review prints it", queries.ErrParameter, id)
		}
		out = append(out, b.caseOf(s, a))
	}
	slices.SortFunc(out, func(a, b Case) int {
		return cmp.Or(a.StartedAt.Compare(b.StartedAt), cmp.Compare(a.Episode, b.Episode))
	})
	return out, nil
}

// caseOf is one episode of any kind. Only one that was advised below its need
// has a reason.
func (b *builder) caseOf(s *stories, a queries.CaseAnimalsRow) Case {
	c := Case{
		Episode: a.Episode, Call: a.Episode, StartedAt: a.StartedAt.UTC(), Site: a.Site, Species: a.Species, Complaint: a.Complaint,
		Advised: word(levelLabels, a.Level), Rules: word(ruleLabels, a.RuleLevel), Needed: needLabel(a), OutcomeHours: a.OutcomeHours, Flags: []string{}, Because: []string{},
	}
	if a.LaterLevel > 0 {
		c.Later = word(levelLabels, a.LaterLevel)
	}
	for _, x := range s.outcomes[a.Episode] {
		if x.Source == "vet" && x.Disposition != "" {
			c.Disposition = x.Disposition
		}
	}
	needed := sameDay
	if a.NeedEmergency == 1 {
		needed = emergency
	}
	e := s.evidence(a.Episode, needed)
	for _, i := range e.demanding(homeCare) {
		if s.program.Flag(i, &e.record) == 1 {
			c.Flags = append(c.Flags, s.program.Set.Flags[i].ID)
		}
	}
	s.recount(&c)
	c.Nearly = e.nearly()
	if (a.NeedSameDay == 1 || a.NeedEmergency == 1) && a.Level > 0 && int(a.Level) < needed {
		c.Reason, c.Because = e.reason()
		c.Label = reasonLabel(c.Reason)
	}
	return c
}

func needLabel(a queries.CaseAnimalsRow) string {
	switch {
	case a.NeedEmergency == 1:
		return levelLabels[emergency]
	case a.NeedSameDay == 1:
		return levelLabels[sameDay]
	case a.NeedSameDay == 0:
		return "less than same day"
	}
	return "not known"
}
