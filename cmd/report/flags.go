package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/page"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/queries"
)

// flagsOptions are what report flags was asked.
type flagsOptions struct {
	set      settings.Settings
	cut      int
	from, to int
	by       string
}

func flagsCommand(s command.Streams, open opener) *cobra.Command {
	var from, to, by string
	cmd := &cobra.Command{
		Use:   "flags",
		Short: "How often each red flag led to escalation, and how right it was",
		Long: `flags prints for every red flag how often it was present, whether the animal was
then escalated, and its sensitivity, specificity and predictive values against
what was found, naive and corrected for outcomes that never became known.

The period is the twelve months to the latest mature one. That a flag which
demands escalation is followed by escalation is compliance, not accuracy.`,
		Example: `  report demo --dir demo
  report flags --store demo/store
  report flags --store demo/store --cut emergency --by species --format csv`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			opt := flagsOptions{set: set, by: by}
			if opt.cut, err = review.CutNumber(set.Cut); err != nil {
				return fmt.Errorf("%w: %w", settings.ErrUsage, err)
			}
			if opt.from, err = month("from", from); err != nil {
				return err
			}
			if opt.to, err = month("to", to); err != nil {
				return err
			}
			return runFlags(cmd, s, open, opt)
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "data", "format", "out", "cut")...)
	cmd.Flags().StringVar(&from, "from", "", "first `MONTH` of the period, such as 2026-01")
	cmd.Flags().StringVar(&to, "to", "", "last `MONTH` of the period")
	cmd.Flags().StringVar(&by, "by", "", "split by a `PROPERTY` of the strata, such as species")
	return cmd
}

func runFlags(cmd *cobra.Command, s command.Streams, open opener, opt flagsOptions) error {
	_, write, err := result(cmd.Context(), open, opt.set, formats[review.Flags]{
		"text": page.FlagsText, "csv": page.FlagsCSV, "json": asJSON[review.Flags],
	}, func(db *queries.DB) (review.Flags, error) {
		f, err := review.BuildFlags(cmd.Context(), db, reviewOptions(opt.set), opt.cut, opt.from, opt.to, opt.by)
		if err == nil {
			sayMissing(s.Remarks(opt.set.Quiet), db)
		}
		return f, named("flags", err)
	})
	if err != nil {
		return err
	}
	return command.WriteResult(s.Out, opt.set.Out, write)
}
