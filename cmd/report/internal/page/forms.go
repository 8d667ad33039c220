package page

import (
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"
	"text/tabwriter"

	"hindcheck/cmd/report/internal/forms"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/sheet"
)

//go:embed forms/*.html forms/*.css
var formFiles embed.FS

// formTemplates are the sheets that people work with, over the sections of the
// review whose stories they share.
var formTemplates = sync.OnceValues(func() (*template.Template, error) {
	t, err := template.New("forms").Funcs(funcs).ParseFS(sectionFiles, "sections/*.html")
	if err != nil {
		return nil, err
	}
	return t.ParseFS(formFiles, "forms/*.html")
})

// writeForm puts one value into a template of forms and the shared frame.
func writeForm(w io.Writer, name string, value any, p sheet.Page) error {
	data, err := json.Marshal(value)
	if err != nil {
		return fmt.Errorf("write sheet: %w", err)
	}
	n, err := root(data)
	if err != nil {
		return err
	}
	t, err := formTemplates()
	if err != nil {
		return fmt.Errorf("parse sheet: %w", err)
	}
	var b strings.Builder
	if err := t.ExecuteTemplate(&b, name, n); err != nil {
		return fmt.Errorf("write sheet: %w", err)
	}
	p.Body, p.Cautions = template.HTML(b.String()), sheet.Usual()
	if p.Style, err = formStyle(); err != nil {
		return err
	}
	return sheet.Write(w, p)
}

// formStyle is that of the cases and of the forms.
func formStyle() (template.CSS, error) {
	cases, err := sectionFiles.ReadFile("sections/cases.css")
	if err != nil {
		return "", err
	}
	own, err := formFiles.ReadFile("forms/forms.css")
	return template.CSS(string(cases) + string(own)), err
}

func fact(name, value string) sheet.Fact {
	return sheet.Fact{Name: name, Value: template.HTML(template.HTMLEscapeString(value))}
}

// day1 is how sheets write a day.
const day1 = "2 Jan 2006"

// DrawHTML writes the sheet to telephone from.
func DrawHTML(w io.Writer, d *review.Draw) error {
	return writeForm(w, "draw", d, sheet.Page{
		Title: "Follow-up sample " + d.ID, Class: "form", Kicker: "Animal advice line \u00b7 drawn follow-up sample",
		Heading: template.HTML("Week of " + d.On.Format(day1)),
		Facts: []sheet.Fact{fact("Calls begun", d.From.Format(day1)+" to "+d.To.AddDate(0, 0, -1).Format(day1)), fact("Seed", fmt.Sprint(d.Seed)),
			fact("Data up to", d.AsOf.DataCut.Format(day1)+fmt.Sprintf(" (load %d)", d.AsOf.Load))},
	})
}

// DrawCSV writes the blank form of a draw.
func DrawCSV(w io.Writer, d *review.Draw) error {
	var rows [][]string
	for _, c := range d.Calls {
		rows = append(rows, []string{d.ID, c.Call, c.StartedAt.Format("2006-01-02 15:04"), c.Species, c.Complaint, Words(c.Advised), number(&c.Probability)})
	}
	return forms.FollowUp.Write(w, rows)
}

// DrawText writes a draw for a terminal.
func DrawText(w io.Writer, d *review.Draw) error {
	fmt.Fprintf(w, "Follow-up sample %s: calls begun %s to %s, data up to %s (load %d)\n", d.ID, d.From.Format(day1), d.To.AddDate(0, 0, -1).Format(day1),
		d.AsOf.DataCut.Format(day1), d.AsOf.Load)
	if d.Repeats > 0 {
		fmt.Fprintln(w, wrap(fmt.Sprintf("This week has been drawn before: %d of its episodes have an answer or an attempt on record. Do not ask an owner twice.", d.Repeats)))
	}
	if !d.Complete {
		fmt.Fprintln(w, wrap("The data hold no call of the last of these days: unless none was taken, load the newer exports and draw again before anybody telephones."))
	}
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "advised\teligible\tdrawn\tchance of each\texpected to answer\texpected in need")
	for _, s := range d.Strata {
		name := s.Level
		if s.SentIn {
			name += ", no visit on record"
		}
		fmt.Fprintf(tw, "%s\t%d\t%d\t%s\t%s\t%s\n", name, s.Eligible, s.Drawn, Formats["pct"](s.Probability), Formats["pct"](s.Response), Formats["pct"](s.Rate))
	}
	for _, p := range d.Plan {
		mark := ""
		if p.Chosen {
			mark = " (this draw)"
		}
		fmt.Fprintf(tw, "%d calls a week%s\tafter a year known to within %s\n", p.CallsAWeek, mark, Formats["pct"](p.HalfWidth))
	}
	for _, c := range d.Calls {
		fmt.Fprintf(tw, "%s\t%s\t%s, %s\tadvised %s\n", c.Call, c.StartedAt.Format(day1), Words(c.Species), Words(c.Complaint), c.Advised)
	}
	return tw.Flush()
}

// CasesHTML writes the sheets of a case review.
func CasesHTML(w io.Writer, c *review.CaseSheets) error {
	return writeForm(w, "casesheets", c, sheet.Page{
		Title: "Case review " + c.MonthLabel, Class: "form", Kicker: "Animal advice line \u00b7 case review, for the panel only",
		Heading: template.HTML(template.HTMLEscapeString(c.MonthLabel)),
		Facts: []sheet.Fact{fact("Cases", fmt.Sprint(len(c.Cases))), fact("Rules", Words(c.RuleSet)),
			fact("Data up to", c.AsOf.DataCut.Format(day1)+fmt.Sprintf(" (load %d)", c.AsOf.Load))},
	})
}

// CasesCSV writes the blank form of a case review.
func CasesCSV(w io.Writer, c *review.CaseSheets) error {
	return forms.CaseReview.Write(w, caseRows(c.Cases, "panel", ""))
}

func caseRows(cases []review.Case, role, reviewer string) [][]string {
	var rows [][]string
	for _, x := range cases {
		rows = append(rows, []string{x.Call, role, reviewer})
	}
	return rows
}

// CasesText lists the cases for a terminal, without advice or outcome.
func CasesText(w io.Writer, c *review.CaseSheets) error {
	fmt.Fprintf(w, "Case review, %s: %d cases; the sheets are written with --out FOLDER or --format html\n", c.MonthLabel, len(c.Cases))
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, x := range c.Cases {
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\n", x.Call, x.StartedAt.Format(day1), Words(x.Species), Words(x.Complaint))
	}
	return tw.Flush()
}

// FeedbackHTML writes an advisor's private sheet.
func FeedbackHTML(w io.Writer, f *review.Feedback) error {
	return writeForm(w, "feedback", f, sheet.Page{
		Title: "Feedback", Class: "form", Kicker: "Animal advice line \u00b7 private feedback",
		Heading: template.HTML("Your calls, " + template.HTMLEscapeString(f.Period.Label)),
		Facts: []sheet.Fact{fact("Advisor", f.Advisor), fact("Advisors compared", fmt.Sprint(f.Advisors)),
			fact("Data up to", f.AsOf.DataCut.Format(day1)+fmt.Sprintf(" (load %d)", f.AsOf.Load))},
	})
}

// FeedbackCSV writes the blank form by which an advisor contests cases.
func FeedbackCSV(w io.Writer, f *review.Feedback) error {
	return forms.CaseReview.Write(w, caseRows(f.Cases, "advisor", f.Advisor))
}

// FeedbackText writes an advisor's sheet for a terminal.
func FeedbackText(w io.Writer, f *review.Feedback) error {
	fmt.Fprintf(w, "Private feedback for %s, %s: %d records of clinical contacts\n", f.Advisor, f.Period.Label, f.Contacts)
	fmt.Fprintln(w, wrap(fmt.Sprintf("Beside yours stands where the advisors of the line lie: the middle one and the middle half. No order, no rate of missed cases; shares on fewer than %d records are left out.", f.MinCount)))
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "\nshare\tyours\tmiddle advisor\tmiddle half")
	line := func(name string, x review.FeedbackShare) {
		median, half := "-", "-"
		if x.Line.Median != nil {
			median = Formats["pct"](*x.Line.Median)
			half = Formats["pct"](*x.Line.LowerQuartile) + " to " + Formats["pct"](*x.Line.UpperQuartile)
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\n", name, textFigure(x.Hers), median, half)
	}
	line("advised above the rules", f.Above)
	line("advised below the rules", f.Below)
	line("owner told when to ring again", f.SafetyNet)
	for _, c := range f.Checks {
		line("done: "+c.Label, c.Done)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(w, "\npeople hurt during your calls: %d scratched, %d bitten\n", f.Hurt.Scratched, f.Hurt.Bitten)
	for _, c := range f.Cases {
		fmt.Fprintf(w, "to learn from: %s, %s, %s: advised %s, needed %s (%s)\n", c.StartedAt.Format(day1), Words(c.Species), Words(c.Complaint), c.Advised, c.Needed, c.Call)
	}
	_, err := fmt.Fprintln(w, wrap("If you see a case differently, fill in the form that --out FOLDER or --format csv writes; the case is then marked as contested until a panel has judged it."))
	return err
}
