package review

import (
	"fmt"
	"strings"

	"hindcheck/metrics"
)

// Verdict is what the evidence allows to say.
type Verdict string

// The verdicts. There is no fourth: "probably fine" is not one.
const (
	Concern      Verdict = "concern"
	NoConcern    Verdict = "no_concern"
	NoConclusion Verdict = "no_conclusion"
)

// Conclusion answers the review's question in the first lines.
type Conclusion struct {
	Verdict Verdict `json:"verdict"`
	// Headline is the answer in one sentence, Sentences say on what it rests.
	Headline  string   `json:"headline"`
	Sentences []string `json:"sentences"`
	// Questions are judged one by one; the verdict follows from them.
	Questions []Question `json:"questions"`
	// Criterion says how a question is judged.
	Criterion string `json:"criterion"`
	// Limitations hold a verdict of no concern back.
	Limitations []string `json:"limitations"`
}

// Question is one limit against one interval.
type Question struct {
	// Of is under_triage or over_triage, per need, at Cut.
	Of    string `json:"of"`
	Cut   string `json:"cut"`
	Label string `json:"label"`
	// CutLabel is the cut in words.
	CutLabel string  `json:"cut_label"`
	Limit    float64 `json:"limit"`
	Figure   Figure  `json:"figure"`
	Bounds   Range   `json:"bounds"`
	// Least is the lower bound as a proportion with limits: what it would be
	// if all unverified episodes were as favourable as can be.
	Least   Figure  `json:"least"`
	Verdict Verdict `json:"verdict"`
	// Sentence gives the verdict in words; Plain says it without terms of art,
	// for the printed summary.
	Sentence string `json:"sentence"`
	Plain    string `json:"plain"`
}

// thinShareLimit is the share of unverified episodes in thin strata above
// which the corrected figure leans on too few to clear a line of concern.
const thinShareLimit = 0.2

const criterion = "A question raises a concern when the whole interval of the corrected figure lies above the limit, or that of the least " +
	"possible figure, in which every unverified episode is as favourable as can be. It raises none when the whole interval lies at or below the limit. Otherwise the evidence does not allow a " +
	"conclusion. The review raises a concern if any question does, and raises none only if every question raises none and nothing listed as a limitation stands against it."

// conclude fills the conclusion from the tests.
func conclude(r *Review) error {
	c := &r.Conclusion
	c.Criterion, c.Sentences, c.Questions, c.Limitations = criterion, []string{}, []Question{}, limitations(r)
	for i := range r.Advice {
		t := &r.Advice[i]
		v, u := t.Verified, t.Unverified
		under, err := metrics.ClopperPearson(v.FN, v.TP+v.FN+u.Present, r.Standard.Confidence)
		if err != nil {
			return err
		}
		over, err := metrics.ClopperPearson(v.FP, v.FP+v.TN+u.Absent, r.Standard.Confidence)
		if err != nil {
			return err
		}
		c.Questions = append(c.Questions,
			ask("under_triage", "Under-triage", t, t.Under[0], figure(under), r.Standard.UnderLimit),
			ask("over_triage", "Over-triage", t, t.Over[0], figure(over), r.Standard.OverLimit))
	}
	c.Verdict = overall(c.Questions, len(c.Limitations) > 0)
	c.Headline = headline(c, r)
	c.Sentences = sentences(r)
	return nil
}

// ask judges one rate by its limit.
func ask(of, name string, t *Test, rate Rate, least Figure, limit float64) Question {
	q := Question{Of: of, Cut: t.Cut, CutLabel: t.Label, Label: fmt.Sprintf("%s per need, %s", name, t.Label), Limit: limit,
		Figure: rate.Corrected, Bounds: rate.Bounds, Least: least}
	f, b := rate.Corrected, rate.Bounds
	switch {
	case limit >= 1:
		q.Verdict, q.Sentence = NoConcern, fmt.Sprintf("%s: no limit is set.", q.Label)
	case f.Estimable() && *f.Low > limit:
		q.Verdict = Concern
		q.Sentence = fmt.Sprintf("%s is %s, all of it above the limit of %s.", q.Label, percentFigure(f), percent(limit))
	case least.Estimable() && *least.Low > limit:
		q.Verdict = Concern
		q.Sentence = fmt.Sprintf("%s is above the limit of %s even if every unverified episode were as favourable as can be: at least %s.",
			q.Label, percent(limit), percentFigure(least))
	case !f.Estimable():
		q.Verdict = NoConclusion
		q.Sentence = fmt.Sprintf("%s cannot be estimated: %s.", q.Label, f.NotEstimable)
		if b.Low != nil {
			q.Sentence = fmt.Sprintf("%s cannot be estimated: %s. Without assumptions it lies anywhere from %s to %s.",
				q.Label, f.NotEstimable, percent(*b.Low), percent(*b.High))
		}
	case *f.High <= limit:
		q.Verdict = NoConcern
		q.Sentence = fmt.Sprintf("%s is %s, all of it at or below the limit of %s.", q.Label, percentFigure(f), percent(limit))
	default:
		q.Verdict = NoConclusion
		q.Sentence = fmt.Sprintf("%s is %s; the limit of %s lies within the interval.", q.Label, percentFigure(f), percent(limit))
	}
	q.Plain = plain(q)
	return q
}

func overall(questions []Question, limited bool) Verdict {
	verdict := NoConcern
	for _, q := range questions {
		switch q.Verdict {
		case Concern:
			return Concern
		case NoConclusion:
			verdict = NoConclusion
		}
	}
	if limited {
		return NoConclusion
	}
	return verdict
}

// limitations are what stands against an all-clear.
func limitations(r *Review) []string {
	out := []string{}
	if r.Data.FlowTotal.Episodes == 0 {
		return append(out, "The period holds no episodes.")
	}
	mature := r.Data.FlowTotal.Episodes - r.Data.FlowTotal.Immature
	if mature == 0 {
		return append(out, "No episode of the period is mature: outcomes have not had time to arrive.")
	}
	if !r.Maturity.Mature {
		out = append(out, fmt.Sprintf("%s is not mature.", r.Period.MonthLabel))
	}
	if n := r.Advice[0].NoAdvice; n > 0 {
		out = append(out, fmt.Sprintf("%s of the period %s no advice level on record and cannot show whether the advice was right.",
			plural(n, "mature episode", "mature episodes"), map[bool]string{true: "has", false: "have"}[n == 1]))
	}
	if r.Period.WithEpisodes < Months {
		out = append(out, fmt.Sprintf("Only %d of the 12 months hold episodes.", r.Period.WithEpisodes))
	}
	for i := range r.Advice {
		if s := r.Advice[i].Strata; s.ThinShare > thinShareLimit {
			out = append(out, fmt.Sprintf("%s of the unverified episodes lie in strata with fewer than %d followed up (%s).",
				percent(s.ThinShare), s.MinVerified, r.Advice[i].Label))
			break
		}
	}
	if s := gapSentence(r.Data.FeedGaps); s != "" {
		out = append(out, s)
	}
	if len(r.Data.Feeds) == 0 {
		out = append(out, "No record says which days the feeds of outcomes cover, so a feed that never arrived cannot be told from no outcome.")
	}
	return out
}

// gapSentence names the feeds that left days of the period uncovered.
func gapSentence(gaps []Feed) string {
	var list []string
	for _, g := range gaps {
		list = append(list, fmt.Sprintf("%s in %s (%d of %d days)", g.Feed, g.Month, g.Days, g.DaysInMonth))
	}
	if len(list) == 0 {
		return ""
	}
	return "Feeds did not cover all days: " + firstOf(list) + ". Outcomes of that time may be missing, not absent."
}

func headline(c *Conclusion, r *Review) string {
	about := func(v Verdict) string {
		var list []string
		for _, q := range c.Questions {
			if q.Verdict == v {
				list = append(list, strings.ReplaceAll(q.Of, "_", "-")+" at the cut "+q.CutLabel)
			}
		}
		if len(list) == 0 || len(list) == len(c.Questions) {
			return ""
		}
		return ": " + strings.Join(list, "; ")
	}
	switch c.Verdict {
	case Concern:
		return fmt.Sprintf("The evidence of %s raises a concern%s.", r.Period.Label, about(Concern))
	case NoConcern:
		return fmt.Sprintf("The evidence of %s does not raise a concern.", r.Period.Label)
	}
	return fmt.Sprintf("The evidence of %s does not allow a conclusion%s.", r.Period.Label, about(NoConclusion))
}

// sentences say in words what the main figures are.
func sentences(r *Review) []string {
	out := []string{}
	for i := range r.Advice {
		if s := accuracySentence(&r.Advice[i], r.Period.Label); s != "" {
			out = append(out, s)
		}
	}
	month := fmt.Sprintf("%s began in %s; %s.", plural(r.Month.Episodes, "episode", "episodes"), r.Period.MonthLabel,
		awaiting(r.Missed.Month()))
	out = append(out, month)
	if r.Safety.InPeriod > 0 {
		out = append(out, fmt.Sprintf("A person was scratched or bitten during a check in %s of the period, %s of them this month.",
			plural(r.Safety.InPeriod, "episode", "episodes"), count(float64(r.Safety.InMonth))))
	}
	return out
}

func awaiting(n int64) string {
	switch n {
	case 0:
		return "no possible case awaits review"
	case 1:
		return "1 possible case awaits review"
	}
	return count(float64(n)) + " possible cases await review"
}

// accuracySentence builds the sentence of one cut from its numbers.
func accuracySentence(t *Test, period string) string {
	if t.Episodes == 0 {
		return ""
	}
	need := "that needed care the same day or sooner"
	if t.Cut == levelWords[emergency] {
		need = "that needed emergency care"
	}
	seen := fmt.Sprintf("%s known to have been missed", plural(t.Verified.FN, "is", "are"))
	if t.Verified.FN == 0 {
		seen = "none is known to have been missed"
	}
	if !t.Missed.Estimable() || !t.Needed.Estimable() {
		reason := t.Missed.NotEstimable
		if t.Missed.Estimable() {
			reason = t.Needed.NotEstimable
		}
		return fmt.Sprintf("In %s, of %s with advice, the number %s cannot be estimated (%s); %s.",
			period, plural(t.Episodes, "mature episode", "mature episodes"), need, reason, seen)
	}
	s := fmt.Sprintf("In %s, of an estimated %s episodes %s, about %s were first advised %s; %s", period, countFigure(t.Needed), need, countFigure(t.Missed), t.Below, seen)
	if t.Verified.FN == 0 {
		return fmt.Sprintf("%s, with %s kept at home followed up.", s, plural(t.Kept.Sampled, "animal", "animals"))
	}
	s += fmt.Sprintf(": %s among the %s kept at home or told to come later and followed up, %s among the %s that a vet saw all the same",
		orNone(t.Kept.SampledNeeded), count(float64(t.Kept.Sampled)), orNone(t.Kept.FoundNeeded), count(float64(t.Kept.Found)))
	if rest := t.Verified.FN - t.Kept.SampledNeeded - t.Kept.FoundNeeded; rest > 0 {
		s += fmt.Sprintf(", %s among those sent in, but less urgently", count(float64(rest)))
	}
	return s + "."
}

// orNone writes a count, none for 0.
func orNone(n int64) string {
	if n == 0 {
		return "none"
	}
	return count(float64(n))
}
