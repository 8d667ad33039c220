package review

import (
	"fmt"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// FollowUp is what the drawn follow-up sample says of the animals that no vet is
// known to have seen, at one cut: two-phase sampling, weighted by the
// probabilities of the draw and by who answered.
type FollowUp struct {
	Cut   string `json:"cut"`
	Label string `json:"label"`
	// Strata are the advised levels, the least urgent first.
	Strata []FollowUpStratum `json:"strata"`
	// Drawn, Answered and Needed sum them; NoProbability were drawn without a
	// probability on record and serve no estimate.
	Drawn         int64 `json:"drawn"`
	Answered      int64 `json:"answered"`
	Needed        int64 `json:"needed"`
	NoProbability int64 `json:"no_probability"`
	// Response is the share of the drawn that answered and settled the need.
	Response Figure `json:"response"`
	// Rate and Number are the need among those advised below the cut, found cases
	// included.
	Rate   Figure `json:"rate"`
	Number Figure `json:"number"`
	// Silent is the number if none, or all, of those that did not answer were in
	// need; it is no confidence interval.
	Silent Range `json:"silent"`
	// Says is the caution that belongs to these figures.
	Says string `json:"says"`
}

// FollowUpStratum is one advised level.
type FollowUpStratum struct {
	Level string `json:"level"`
	// Below is whether it lies below the cut, and is part of Rate and Number.
	Below bool `json:"below"`
	// Eligible have no visit on record that settles the need; Found have, and
	// FoundNeeded of them needed care.
	Eligible    int64 `json:"eligible"`
	Found       int64 `json:"found"`
	FoundNeeded int64 `json:"found_needed"`
	Drawn       int64 `json:"drawn"`
	Answered    int64 `json:"answered"`
	Needed      int64 `json:"needed"`
	// Probability is the average with which the drawn were drawn, 0 if none.
	Probability float64 `json:"probability"`
	// Weight is for how many eligible episodes an answer stands on average, 0 if
	// there is none.
	Weight float64 `json:"weight"`
}

func (b *builder) fillFollowUp(r *Review) error {
	r.FollowUp = []FollowUp{}
	for _, cut := range bothCuts {
		rows, err := b.db.AuditAnswers(b.ctx, b.scope, cut)
		if err != nil {
			return err
		}
		f, err := b.followUp(rows, cut)
		if err != nil {
			return err
		}
		r.FollowUp = append(r.FollowUp, f)
	}
	return nil
}

func (b *builder) followUp(rows []queries.AuditAnswersRow, cut int) (FollowUp, error) {
	out := FollowUp{Cut: levelWords[cut], Label: cutLabel(cut), Strata: []FollowUpStratum{}}
	var strata []metrics.AuditStratum
	for level := int8(homeCare); level <= emergency; level++ {
		shown, s, lost := auditStratum(rows, level)
		shown.Below = int(level) < cut
		out.NoProbability += lost
		out.Drawn += shown.Drawn
		out.Answered += shown.Answered
		out.Needed += shown.Needed
		out.Strata = append(out.Strata, shown)
		if shown.Below && s.Eligible+s.FoundNeeded+s.FoundNotNeeded > 0 {
			strata = append(strata, s)
		}
	}
	response, err := metrics.Wilson(out.Answered, out.Drawn, b.opt.Confidence)
	if err != nil {
		return out, err
	}
	out.Response = figure(response)
	out.Says = followUpSays(out)
	if len(strata) == 0 {
		none := Figure{Conf: b.opt.Confidence, NotEstimable: "there are no episodes advised below the cut"}
		out.Rate, out.Number, out.Silent = none, none, Range{Undefined: none.NotEstimable}
		return out, nil
	}
	a, err := metrics.AuditPrevalence(strata, metrics.CorrectionOptions{Conf: b.opt.Confidence, Draws: b.opt.Draws, MinSampled: 1, Rand: b.rand()})
	if err != nil {
		return out, err
	}
	out.Rate, out.Number, out.Silent = figure(a.Rate), figure(a.Needed), bounds(a.Silent)
	return out, nil
}

// auditStratum sums one level. What was drawn without a probability on record
// stays eligible and counts as not drawn.
func auditStratum(rows []queries.AuditAnswersRow, level int8) (shown FollowUpStratum, s metrics.AuditStratum, lost int64) {
	shown.Level = levelLabels[level]
	s.Name = levelLabels[level]
	place := map[float64]int{}
	sum := 0.0
	for _, x := range rows {
		if x.Level != level {
			continue
		}
		if x.Seen {
			shown.Found += x.N
			if x.Need == 1 {
				shown.FoundNeeded += x.N
			}
			continue
		}
		s.Eligible += x.N
		if !x.Drawn {
			continue
		}
		if x.Probability == nil || !(*x.Probability > 0 && *x.Probability <= 1) {
			lost += x.N
			continue
		}
		p := *x.Probability
		i, ok := place[p]
		if !ok {
			i = len(s.Draws)
			place[p] = i
			s.Draws = append(s.Draws, metrics.AuditDraw{Probability: p})
		}
		s.Draws[i].Drawn += x.N
		sum += p * float64(x.N)
		if x.Answered {
			s.Draws[i].Answered += x.N
		}
		if x.Answered && x.Need == 1 {
			s.Draws[i].Needed += x.N
		}
	}
	s.FoundNeeded, s.FoundNotNeeded = shown.FoundNeeded, shown.Found-shown.FoundNeeded
	shown.Eligible = s.Eligible
	for _, d := range s.Draws {
		shown.Drawn += d.Drawn
		shown.Answered += d.Answered
		shown.Needed += d.Needed
	}
	if shown.Drawn > 0 {
		shown.Probability = sum / float64(shown.Drawn)
	}
	if shown.Answered > 0 {
		shown.Weight = float64(s.Eligible) / float64(shown.Answered)
	}
	return shown, s, lost
}

// followUpSays names what the weights allow for and what they do not.
func followUpSays(f FollowUp) string {
	s := "Each answer stands for the episodes of its level that were not drawn, by the probability of the draw, and for those that were drawn and did not answer. " +
		"That assumes that owners who answered resemble, within the level advised, those who did not; and an owner tells of the animal from memory, which is a weaker reference than an exam."
	if f.Drawn == 0 {
		return "No episode of the period was drawn for follow-up. Without a drawn sample nothing is known of animals that stayed at home and were not seen. " + s
	}
	if f.NoProbability > 0 {
		s += fmt.Sprintf(" %s drawn without a probability on record and %s left out.", plural(f.NoProbability, "episode was", "episodes were"), map[bool]string{true: "is", false: "are"}[f.NoProbability == 1])
	}
	return s
}
