package main

import (
	"io"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/forms"
	"hindcheck/cmd/report/internal/page"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/queries"
)

func advisorCommand(s command.Streams, open opener) *cobra.Command {
	var of string
	cmd := &cobra.Command{
		Use:   "advisor [PSEUDONYM]",
		Short: "One advisor's private sheet: her checks, what changed her advice, cases to learn from",
		Long: `advisor writes the private feedback sheet of one advisor: how her home checks were
done beside the middle of the line, what changed her advice and what came of such
changes in the line as a whole, whether owners were told when to ring again,
bites and scratches, and a few cases of hers. It gives no rate of missed cases and
no place among others, and leaves out shares on fewer records than --min-count.
With --out FOLDER it also writes the form by which she contests a case.

Without a pseudonym it lists those of the advisors, in an order that means
nothing; whoever holds the key knows whose they are.`,
		Example: `  report demo --dir demo
  report advisor --store demo/store
  report advisor 06665cc6-6d32-8cfa-be82-6f2707111c0d --store demo/store --out feedback`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			number, err := month("month", of)
			if err != nil {
				return err
			}
			if len(args) == 0 {
				return listAdvisors(cmd, s, open, set)
			}
			return runAdvisor(cmd, s, open, set, number, args[0])
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "format", "out", "min-count")...)
	cmd.Flags().StringVar(&of, "month", "", "last `MONTH` of the twelve; empty takes the latest mature one")
	return cmd
}

func runAdvisor(cmd *cobra.Command, s command.Streams, open opener, set settings.Settings, number int, advisor string) error {
	f, write, err := result(cmd.Context(), open, set, formats[*review.Feedback]{
		"text": page.FeedbackText, "csv": page.FeedbackCSV, "html": page.FeedbackHTML, "json": asJSON[*review.Feedback],
	}, func(db *queries.DB) (*review.Feedback, error) {
		opt := reviewOptions(set)
		opt.Month = number
		f, err := review.BuildFeedback(cmd.Context(), db, opt, advisor, int64(set.MinCount))
		return f, named("advisor", err)
	})
	if err != nil {
		return err
	}
	if set.Out == "" {
		return write(s.Out)
	}
	return writePapers(s.Out, set.Out, forms.CaseReview, "case-review-contest", []paper{
		{".csv", func(w io.Writer) error { return page.FeedbackCSV(w, f) }},
		{"feedback.html", func(w io.Writer) error { return page.FeedbackHTML(w, f) }},
		{"feedback.json", func(w io.Writer) error { return command.WriteJSON(w, f) }},
	})
}

// listAdvisors prints the pseudonyms of the period.
func listAdvisors(cmd *cobra.Command, s command.Streams, open opener, set settings.Settings) error {
	write, err := chooseWriter(set.Format, tables)
	if err != nil {
		return err
	}
	t, err := runQuery(cmd.Context(), open, set, "advisors", nil)
	if err != nil {
		return err
	}
	return command.WriteResult(s.Out, set.Out, func(w io.Writer) error { return write(w, t) })
}
