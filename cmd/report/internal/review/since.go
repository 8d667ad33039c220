package review

import (
	"fmt"
	"time"

	"hindcheck/queries"
)

// Since compares the review with the last one that was archived.
type Since struct {
	// Found is whether there is one; otherwise all below is empty.
	Found      bool      `json:"found"`
	Month      string    `json:"month"`
	MonthLabel string    `json:"month_label"`
	Load       int       `json:"load"`
	DataCut    time.Time `json:"data_cut"`
	// Restated is whether it was of the same month, in an earlier state.
	Restated bool   `json:"restated"`
	Headline string `json:"headline"`
	// Comparable is whether figures rest on the same terms; NotComparable says
	// which do not.
	Comparable    bool     `json:"comparable"`
	NotComparable []string `json:"not_comparable"`
	// Sentences say what changed, the most important first.
	Sentences []string `json:"sentences"`
	// Terms are those that differ.
	Terms []TermChange `json:"terms"`
	// Figures are the rates of the conclusion, then every flag's figure that
	// moved; FlagFigures is how many of those were compared.
	Figures     []Moved `json:"figures"`
	FlagFigures int     `json:"flag_figures"`
	// Months are months of both reviews whose counts are no longer the same,
	// since outcomes or corrections arrived.
	Months []MonthChange `json:"months"`
}

// TermChange is one definition, rule or setting before and now.
type TermChange struct {
	Name   string `json:"name"`
	Before string `json:"before"`
	Now    string `json:"now"`
	// Breaks is whether figures before and after cannot be compared.
	Breaks bool `json:"breaks"`
}

// Moved is one figure before and now.
type Moved struct {
	Label  string `json:"label"`
	Before Figure `json:"before"`
	Now    Figure `json:"now"`
	// Beyond is whether the present estimate lies outside the interval that
	// the last review gave. The two rest on months in common and are not
	// independent, so it is a mark to look, not a test.
	Beyond        bool    `json:"beyond"`
	VerdictBefore Verdict `json:"verdict_before"`
	VerdictNow    Verdict `json:"verdict_now"`
}

// MonthChange is one month's counts before and now.
type MonthChange struct {
	Month    string    `json:"month"`
	Label    string    `json:"label"`
	Episodes CountPair `json:"episodes"`
	Outcomes CountPair `json:"with_outcome"`
	Needed   CountPair `json:"needed"`
	Missed   CountPair `json:"missed"`
	Died     CountPair `json:"died"`
}

// CountPair is a count in the last review and in this one.
type CountPair struct {
	Before int64 `json:"before"`
	Now    int64 `json:"now"`
}

func (c CountPair) differs() bool { return c.Before != c.Now }

// since compares with the last review, nil if there is none.
func since(r, last *Review) Since {
	s := Since{NotComparable: []string{}, Sentences: []string{}, Terms: []TermChange{}, Figures: []Moved{}, Months: []MonthChange{}}
	if last == nil {
		s.Sentences = append(s.Sentences, "No earlier review is on file, so nothing can be said about changes.")
		return s
	}
	s.Found, s.Month, s.MonthLabel, s.Load, s.DataCut = true, last.Period.Month, last.Period.MonthLabel, last.AsOf.Load, last.AsOf.DataCut
	s.Restated, s.Headline = last.Period.Month == r.Period.Month, last.Conclusion.Headline
	s.compareTerms(r, last)
	s.compareFigures(r, last)
	s.compareMonths(r, last)
	s.say(r, last)
	return s
}

// compareTerms fills what the figures rest on, where it differs.
func (s *Since) compareTerms(r, last *Review) {
	if last.Format != r.Format {
		s.NotComparable = append(s.NotComparable, fmt.Sprintf("the last review was written in format %d, this one in %d", last.Format, r.Format))
	}
	if last.AsOf.DataCut.After(r.AsOf.DataCut) {
		s.NotComparable = append(s.NotComparable, "the last review rests on later data, so it may be of another store")
	}
	now := map[string]term{}
	for _, t := range r.terms() {
		now[t.name] = t
	}
	before := map[string]bool{}
	for _, t := range last.terms() {
		before[t.name] = true
		if n := now[t.name]; n.value != t.value {
			s.Terms = append(s.Terms, TermChange{t.name, t.value, n.value, t.breaks})
		}
	}
	for _, t := range r.terms() {
		if !before[t.name] {
			s.Terms = append(s.Terms, TermChange{t.name, "", t.value, t.breaks})
		}
	}
	for _, t := range s.Terms {
		if t.Breaks {
			s.NotComparable = append(s.NotComparable, "changed: "+t.Name)
		}
	}
	s.Comparable = len(s.NotComparable) == 0
}

// compareFigures sets the rates of the conclusion side by side, and the flags'
// figures that moved.
func (s *Since) compareFigures(r, last *Review) {
	before := map[string]Question{}
	for _, q := range last.Conclusion.Questions {
		before[q.Of+q.Cut] = q
	}
	for _, q := range r.Conclusion.Questions {
		if b, ok := before[q.Of+q.Cut]; ok {
			s.Figures = append(s.Figures, Moved{q.Label, b.Figure, q.Figure, s.Comparable && beyond(b.Figure, q.Figure), b.Verdict, q.Verdict})
		}
	}
	if !s.Comparable {
		return
	}
	old := map[string]Flag{}
	for _, f := range last.Flags {
		for _, x := range f.Flags {
			old[f.Cut+" "+x.Flag+" "+x.Stratum] = x
		}
	}
	for _, f := range r.Flags {
		for _, x := range f.Flags {
			b, ok := old[f.Cut+" "+x.Flag+" "+x.Stratum]
			if !ok {
				continue
			}
			name := x.Title
			if name == "" {
				name = x.Flag
			}
			for _, m := range []Moved{
				{Label: fmt.Sprintf("Sensitivity of %q, %s", name, f.CutLabel), Before: b.Corrected.Sensitivity, Now: x.Corrected.Sensitivity},
				{Label: fmt.Sprintf("Specificity of %q, %s", name, f.CutLabel), Before: b.Corrected.Specificity, Now: x.Corrected.Specificity},
			} {
				s.FlagFigures++
				if m.Beyond = beyond(m.Before, m.Now); m.Beyond {
					s.Figures = append(s.Figures, m)
				}
			}
		}
	}
}

// beyond reports whether a figure left the interval it had; one that could not
// be estimated on either side did not.
func beyond(before, now Figure) bool {
	if !before.Estimable() || !now.Estimable() {
		return false
	}
	return before.Low != nil && *now.Estimate < *before.Low || before.High != nil && *now.Estimate > *before.High
}

// compareMonths lists months whose counts changed.
func (s *Since) compareMonths(r, last *Review) {
	old := map[string]Point{}
	for _, p := range last.Trend {
		old[p.Month] = p
	}
	for _, p := range r.Trend {
		b, ok := old[p.Month]
		if !ok {
			continue
		}
		m := MonthChange{p.Month, p.Label, CountPair{b.Episodes, p.Episodes}, CountPair{b.WithOutcome, p.WithOutcome},
			CountPair{b.Needed, p.Needed}, CountPair{b.Missed, p.Missed}, CountPair{b.Died, p.Died}}
		if m.Episodes.differs() || m.Outcomes.differs() || m.Needed.differs() || m.Missed.differs() || m.Died.differs() {
			s.Months = append(s.Months, m)
		}
	}
}

// say puts the changes into sentences.
func (s *Since) say(r, last *Review) {
	add := func(format string, args ...any) { s.Sentences = append(s.Sentences, fmt.Sprintf(format, args...)) }
	if s.Restated {
		add("%s was reviewed before, on data up to %s; this review restates it.", s.MonthLabel, day(s.DataCut))
	}
	switch before, now := last.Conclusion.Verdict, r.Conclusion.Verdict; {
	case !s.Comparable:
		add("Its figures cannot be compared with these: %s.", list(s.NotComparable))
	case before != now:
		add("The verdict changed: then, the evidence %s; now, it %s.", verdictWords[before], verdictWords[now])
	default:
		add("The verdict is the same: the evidence %s.", verdictWords[now])
	}
	if s.Comparable {
		var moved []string
		for _, m := range s.Figures {
			if m.Beyond && m.VerdictNow != "" {
				moved = append(moved, fmt.Sprintf("%s (%s, was %s)", m.Label, percentFigure(m.Now), percentFigure(m.Before)))
			}
		}
		if len(moved) == 0 {
			add("No rate of the conclusion left the interval that it had.")
		} else {
			add("Left the interval that it had: %s.", list(moved))
		}
	}
	var outcomes, needed, missed int64
	reviewed := false
	for _, m := range s.Months {
		outcomes += m.Outcomes.Now - m.Outcomes.Before
		needed += m.Needed.Now - m.Needed.Before
		missed += m.Missed.Now - m.Missed.Before
		reviewed = reviewed || m.Month <= last.Period.Month
	}
	if len(s.Months) > 0 {
		add("Since then %s more episodes of %s have an outcome, %s more are known to have needed care and %s more to have been missed.",
			signedCount(outcomes), plural(int64(len(s.Months)), "month on file", "months on file"), signedCount(needed), signedCount(missed))
	}
	if reviewed {
		add("So figures of months already reviewed changed; they are listed below.")
	}
}

var verdictWords = map[Verdict]string{
	Concern: "raises a concern", NoConcern: "does not raise a concern", NoConclusion: "does not allow a conclusion",
}

// signedCount writes a change of a count; a fall has its sign.
func signedCount(n int64) string {
	if n < 0 {
		return "\u2212" + count(float64(-n))
	}
	return count(float64(n))
}

func day(t time.Time) string { return t.Format("2 January 2006") }

// monthAfter is the month after one of the form 2026-07.
func monthAfter(month string) (string, error) {
	m, err := queries.ParseMonth(month)
	if err != nil {
		return "", err
	}
	return queries.FormatMonth(queries.AddMonths(m, 1)), nil
}
