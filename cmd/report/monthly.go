package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/page"
	"hindcheck/cmd/report/internal/review"
)

func monthlyCommand(s command.Streams, open opener) *cobra.Command {
	var of string
	cmd := &cobra.Command{
		Use:   "monthly",
		Short: "The monthly review: one page to read, print and file",
		Long: `monthly reviews one month, by default the latest whose outcomes have had time to
arrive and whose feeds delivered. With --out FOLDER it writes the review as a page
(HTML, one file, readable without network or script), as JSON and as CSV, and says
where; without, it prints the review in the --format asked for.`,
		Example: `  report demo --dir demo
  report monthly --store demo/store --out review
  report monthly --store demo/store --month 2026-06 --format json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			if err := oneOfFormats(set.Format, "text", "csv", "json", "html"); err != nil {
				return err
			}
			number, err := month("month", of)
			if err != nil {
				return err
			}
			return runMonthly(cmd, s, open, set, number)
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "format", "out", "under-triage-limit", "over-triage-limit", "limit-source")...)
	cmd.Flags().StringVar(&of, "month", "", "`MONTH` to review, such as 2026-07; empty takes the latest mature one")
	return cmd
}

func runMonthly(cmd *cobra.Command, s command.Streams, open opener, set settings.Settings, number int) error {
	db, err := open(cmd.Context(), set)
	if err != nil {
		return err
	}
	defer db.Close()
	opt := reviewOptions(set)
	opt.Month = number
	r, err := review.Build(cmd.Context(), db, opt)
	if err != nil {
		return fmt.Errorf("monthly: %w", err)
	}
	if set.Out != "" {
		return writeReview(s.Out, set.Out, r)
	}
	return reviewWriters[set.Format](s.Out, r)
}

// reviewWriters by format.
var reviewWriters = map[string]func(io.Writer, *review.Review) error{
	"text": page.Text,
	"csv":  page.CSV,
	"html": page.HTML,
	"json": func(w io.Writer, r *review.Review) error { return command.WriteJSON(w, r) },
}

// writeReview writes all forms of a review into a folder and says where.
func writeReview(stdout io.Writer, dir string, r *review.Review) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("monthly: %w", err)
	}
	lines := []string{r.Conclusion.Headline}
	for _, format := range []string{"html", "json", "csv"} {
		path := filepath.Join(dir, "review-"+r.Period.Month+"."+format)
		if err := command.WriteResult(nil, path, func(w io.Writer) error { return reviewWriters[format](w, r) }); err != nil {
			return fmt.Errorf("monthly: %w", err)
		}
		lines = append(lines, path)
	}
	// Only now: a reader of the output may go away, and the files must stand.
	_, err := fmt.Fprintln(stdout, strings.Join(lines, "\n"))
	return err
}
