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

func casesCommand(s command.Streams, open opener) *cobra.Command {
	var of string
	var ids []string
	cmd := &cobra.Command{
		Use:   "cases",
		Short: "Sheets and form for judging single cases, with the advice hidden at first",
		Long: `cases writes a sheet for each case of a month that needed more urgent care than was
first advised: what was heard on the telephone first, and the advice and the
outcome only when the reviewer has answered whether the need could be foreseen
(on paper: overleaf). With --out FOLDER it writes the sheets (HTML), the blank
form (CSV), the cases (JSON), and in FOLDER/sources the description with which
ingest load reads the form back. Judgements stand in the review beside the case,
with how far reviewers agree.`,
		Example: `  report demo --dir demo
  report cases --store demo/store --out panel
  report cases --store demo/store --month 2026-06 --format csv`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			number, err := month("month", of)
			if err != nil {
				return err
			}
			return runCases(cmd, s, open, set, number, ids)
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "format", "out")...)
	cmd.Flags().StringVar(&of, "month", "", "`MONTH` of the first contacts, such as 2026-07; empty takes the latest mature one")
	cmd.Flags().StringArrayVar(&ids, "id", nil, "`PSEUDONYM` of a call to review instead; may be repeated")
	return cmd
}

func runCases(cmd *cobra.Command, s command.Streams, open opener, set settings.Settings, number int, ids []string) error {
	c, write, err := result(cmd.Context(), open, set, formats[*review.CaseSheets]{
		"text": page.CasesText, "csv": page.CasesCSV, "html": page.CasesHTML, "json": asJSON[*review.CaseSheets],
	}, func(db *queries.DB) (*review.CaseSheets, error) {
		opt := reviewOptions(set)
		opt.Month = number
		c, err := review.BuildCaseSheets(cmd.Context(), db, opt, ids)
		return c, named("cases", err)
	})
	if err != nil {
		return err
	}
	if set.Out == "" {
		return write(s.Out)
	}
	return writePapers(s.Out, set.Out, forms.CaseReview, "case-review-"+c.Month, []paper{
		{".html", func(w io.Writer) error { return page.CasesHTML(w, c) }},
		{".csv", func(w io.Writer) error { return page.CasesCSV(w, c) }},
		{".json", func(w io.Writer) error { return command.WriteJSON(w, c) }},
	})
}
