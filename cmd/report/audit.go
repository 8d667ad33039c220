package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/forms"
	"hindcheck/cmd/report/internal/page"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/queries"
)

// auditOptions are what report audit was asked.
type auditOptions struct {
	set  settings.Settings
	on   string
	draw review.DrawOptions
}

func auditCommand(s command.Streams, open opener) *cobra.Command {
	var opt auditOptions
	cmd := &cobra.Command{
		Use:   "audit",
		Short: "Draw this week's calls to telephone: the follow-up of animals that no vet saw",
		Long: `audit draws a seeded random sample of the calls of 4 to 10 days ago that were not
escalated, and of those that were and have no visit on record. It says how many,
from which levels and for which width of the yearly figure, and keeps the chance
of each call. With --out FOLDER it writes the sheet to telephone from (HTML), the
blank form (CSV), the pseudonyms for ingest lookup, the draw (JSON), and in
FOLDER/sources the description with which ingest load reads the form back.

The same week, seed and number draw the same calls, whatever was loaded since and
in whatever order. Weeks do not overlap, so no call is drawn twice. An animal
that sounds unwell on the telephone now is sent in now.`,
		Example: `  report demo --dir demo
  report audit --store demo/store --out follow-up
  report audit --store demo/store --on 2026-09-14 --calls 30 --format csv`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			var err error
			if opt.set, err = settings.Load(cmd.Flags(), s.Env); err != nil {
				return err
			}
			if opt.on != "" {
				if opt.draw.On, err = time.Parse(time.DateOnly, opt.on); err != nil {
					return fmt.Errorf("%w: --on %q: expected a day such as 2026-07-13", settings.ErrUsage, opt.on)
				}
			}
			if opt.draw.Calls < 1 || !(opt.draw.Response > 0 && opt.draw.Response <= 1) {
				return fmt.Errorf("%w: --calls %d, --response %g: expected 1 or more, and more than 0 up to 1", settings.ErrUsage, opt.draw.Calls, opt.draw.Response)
			}
			return runAudit(cmd, s, open, opt)
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "format", "out")...)
	cmd.Flags().StringVar(&opt.on, "on", "", "`DAY` in the week of telephoning, such as 2026-07-13; empty takes the last week that the data hold")
	cmd.Flags().Int64Var(&opt.draw.Calls, "calls", 20, "how many to telephone in the week")
	cmd.Flags().Uint64Var(&opt.draw.Seed, "seed", 1, "the draw to make; the same `NUMBER` draws the same calls")
	cmd.Flags().Float64Var(&opt.draw.Response, "response", 0.6, "`SHARE` of owners expected to answer, where the past year tells nothing")
	return cmd
}

func runAudit(cmd *cobra.Command, s command.Streams, open opener, opt auditOptions) error {
	d, write, err := result(cmd.Context(), open, opt.set, formats[*review.Draw]{
		"text": page.DrawText, "csv": page.DrawCSV, "html": page.DrawHTML, "json": asJSON[*review.Draw],
	}, func(db *queries.DB) (*review.Draw, error) {
		d, err := review.BuildDraw(cmd.Context(), db, reviewOptions(opt.set), opt.draw)
		return d, named("audit", err)
	})
	if err != nil {
		return err
	}
	if opt.set.Out == "" {
		return write(s.Out)
	}
	return writePapers(s.Out, opt.set.Out, forms.FollowUp, "follow-up-"+d.ID, []paper{
		{".html", func(w io.Writer) error { return page.DrawHTML(w, d) }},
		{".csv", func(w io.Writer) error { return page.DrawCSV(w, d) }},
		{".txt", func(w io.Writer) error {
			for _, c := range d.Calls {
				fmt.Fprintln(w, c.Call)
			}
			return nil
		}},
		{".json", func(w io.Writer) error { return command.WriteJSON(w, d) }},
	})
}
