package page

import (
	"fmt"
	"io"
	"text/tabwriter"

	"hindcheck/cmd/report/internal/caution"
	"hindcheck/cmd/report/internal/replay"
	"hindcheck/cmd/report/internal/review"
)

func textPoints(f review.Figure) string { return textLimits(f, Formats["points"]) }
func textNumber(f review.Figure) string { return textLimits(f, Formats["num"]) }

// ReplayText writes the heart of a replay for a terminal; the page holds the rest.
func ReplayText(w io.Writer, r *replay.Report) error {
	out := &sayer{w: w}
	c, m := r.Record, r.Moves
	out.say("Proposed rules %s (%s) against %s, on the calls of %s; data up to %s, load %d", c.Proposed.ID, c.Proposed.Title, c.Current.ID,
		r.Period.Label, c.DataCut.Format("2 Jan 2006"), c.Load)
	out.blank()
	if r.Verdict != nil {
		out.say("%s", r.Verdict.Headline)
	}
	for _, s := range c.Warnings {
		out.say("! %s", s)
	}
	for _, x := range c.Changes {
		if x.Flag != "" {
			out.say("- %s: %s", x.Flag, x.Text)
		}
	}
	out.blank()
	out.say("Of %s calls, %s would get a more urgent level and %s a less urgent one.", Formats["int"](float64(m.Calls)), Formats["int"](float64(m.Up)), Formats["int"](float64(m.Down)))
	out.table("from \\ to", r)
	for _, way := range r.Ways {
		out.way(way)
	}
	out.groups(r.Groups)
	out.missed(r.Cases)
	out.judged(r.Verdict)
	out.say("What past calls cannot show:")
	for _, b := range r.CannotShow {
		out.say("- %s", b.Text)
	}
	out.blank()
	out.say("%s", r.Standard.Limits)
	for _, s := range caution.Lines {
		out.say("%s", s)
	}
	return out.err
}

// sayer writes paragraphs and tables and keeps the first error.
type sayer struct {
	w   io.Writer
	err error
}

func (s *sayer) put(format string, args ...any) {
	if s.err == nil {
		_, s.err = fmt.Fprintf(s.w, format, args...)
	}
}

func (s *sayer) say(format string, args ...any) { s.put("%s\n", wrap(fmt.Sprintf(format, args...))) }
func (s *sayer) blank()                         { s.put("\n") }

// columns writes rows of cells, the first row being the header.
func (s *sayer) columns(rows [][]string) {
	tw := tabwriter.NewWriter(s.w, 0, 0, 2, ' ', 0)
	for _, cells := range rows {
		for i, c := range cells {
			if i > 0 {
				fmt.Fprint(tw, "\t")
			}
			fmt.Fprint(tw, c)
		}
		fmt.Fprintln(tw)
	}
	if err := tw.Flush(); s.err == nil {
		s.err = err
	}
	s.blank()
}

func (s *sayer) table(corner string, r *replay.Report) {
	rows := [][]string{append([]string{corner}, r.Moves.Levels...)}
	for _, x := range r.Moves.Rows {
		row := []string{x.Level}
		for _, n := range x.To {
			row = append(row, Formats["int"](float64(n)))
		}
		rows = append(rows, row)
	}
	s.columns(rows)
}

func (s *sayer) way(way replay.Way) {
	rows := [][]string{{way.Label, "at " + way.Cuts[0].Label, "at " + way.Cuts[1].Label}}
	for _, x := range []struct {
		name string
		of   func(replay.Comparison) string
	}{
		{"newly sent in / newly not", func(c replay.Comparison) string { return fmt.Sprintf("%d / %d", c.Up, c.Down) }},
		{"extra referrals a day", func(c replay.Comparison) string { return textNumber(c.ExtraPerDay) }},
		{"sensitivity, points: corrected", func(c replay.Comparison) string { return textPoints(c.Corrected.SensitivityDifference) }},
		{"sensitivity, points: naive", func(c replay.Comparison) string { return textPoints(c.Naive.SensitivityDifference) }},
		{"specificity, points: corrected", func(c replay.Comparison) string { return textPoints(c.Corrected.SpecificityDifference) }},
		{"specificity, points: naive", func(c replay.Comparison) string { return textPoints(c.Naive.SpecificityDifference) }},
		{"in need, newly sent in", func(c replay.Comparison) string { return textCount(c.Gained.Number) }},
		{"in need, newly missed", func(c replay.Comparison) string { return textCount(c.Lost.Number) }},
		{"not in need, newly sent in", func(c replay.Comparison) string { return textCount(c.Extra.Number) }},
		{"not in need, newly not", func(c replay.Comparison) string { return textCount(c.Spared.Number) }},
		{"extra for each caught", func(c replay.Comparison) string { return textNumber(c.ExtraPerCaught) }},
	} {
		rows = append(rows, []string{x.name, x.of(way.Cuts[0]), x.of(way.Cuts[1])})
	}
	s.columns(rows)
}

// answerWords write an answer for a terminal.
var answerWords = map[string]string{replay.Met: "met", replay.NotMet: "NOT MET", replay.CannotTell: "cannot tell", replay.TooFew: "too few"}

func (s *sayer) groups(g replay.Groups) {
	rows := [][]string{}
	for _, x := range g.List {
		if x.Answer == replay.NotMet || x.Answer == replay.CannotTell {
			word := "cannot tell"
			if x.Answer == replay.NotMet {
				word = "HARM"
			}
			rows = append(rows, []string{x.Label, Words(x.Cut), word, textPoints(x.Corrected)})
		}
	}
	s.say("Groups: harm is a loss of sensitivity beyond %s (%s).", Formats["pct"](g.Margin), g.MarginSource)
	if len(rows) == 0 {
		s.say("No group with enough animals shows harm or doubt.")
		s.blank()
		return
	}
	s.columns(append([][]string{{"group", "cut", "harm", "difference, points"}}, rows...))
}

func (s *sayer) missed(c replay.Cases) {
	s.say("Animals known to have been in need that would newly be missed: %d; %d more would fall below a cut, and it never became known whether they needed it", len(c.Missed), c.BelowUnknown)
	if len(c.Missed) == 0 {
		s.blank()
		return
	}
	rows := [][]string{{"episode", "began", "animal", "rules", "had to be seen", "answered for by"}}
	for _, m := range c.Missed {
		by := "nobody yet"
		if m.Reviewed != nil {
			by = m.Reviewed.Reviewer
		}
		rows = append(rows, []string{m.Episode, m.StartedAt.Format("2006-01-02"), m.Species, m.Old + " -> " + m.New, m.Needed, by})
	}
	s.columns(rows)
}

func (s *sayer) judged(v *replay.Verdict) {
	if v == nil {
		return
	}
	rows := [][]string{{"criterion", "answer", "asked", "found", "months more"}}
	for _, j := range v.Judged {
		months := "-"
		if j.Months != nil {
			months = Formats["int"](*j.Months)
		}
		rows = append(rows, []string{j.Name, answerWords[j.Answer], j.Asked, j.Found, months})
	}
	s.columns(rows)
}
