package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/pool"
	"hindcheck/cmd/report/internal/review"
)

func countsCommand(s command.Streams, open opener) *cobra.Command {
	var line, previous string
	minimum := int64(5)
	cmd := &cobra.Command{
		Use:   "counts",
		Short: "Write this line's counts, small ones hidden, for pooling with others",
		Long: `counts writes the two-by-two tables of the advice, the rules and every flag as
JSON: episodes by test result and known need, of the twelve months to the latest
mature one. Counts from 1 to --minimum less one are hidden, and as many others as it
takes that no hidden one can be worked out from the sums. No record and no key is in
the file; report pool joins the files of several lines.`,
		Example: `  report demo --dir demo
  report counts --store demo/store --line north --out north.json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			if minimum < 2 || minimum > 1000 {
				return fmt.Errorf("%w: --minimum %d: expected a number from 2 to 1000", settings.ErrUsage, minimum)
			}
			if line == "" {
				return fmt.Errorf("%w: --line: expected a name by which others know this line", settings.ErrUsage)
			}
			db, err := open(cmd.Context(), set)
			if err != nil {
				return err
			}
			defer db.Close()
			r, err := review.Build(cmd.Context(), db, reviewOptions(set))
			if err != nil {
				return fmt.Errorf("counts: %w", err)
			}
			c, err := pool.FromReview(r, line, minimum)
			if err != nil {
				return err
			}
			if previous != "" {
				earlier, err := pool.Read(previous)
				if err != nil {
					return fmt.Errorf("counts: %w", err)
				}
				if err := c.Apart(earlier); err != nil {
					return fmt.Errorf("%w: %w", command.ErrGate, err)
				}
			}
			return command.WriteResult(s.Out, set.Out, func(w io.Writer) error { return command.WriteJSON(w, c) })
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "data", "out")...)
	cmd.Flags().StringVar(&line, "line", "", "`NAME` of this line in a pooled table")
	cmd.Flags().StringVar(&previous, "previous", "", "an earlier counts `FILE` of this line that others hold; too close a one is refused with status 3")
	cmd.Flags().Int64Var(&minimum, "minimum", minimum, "the smallest `COUNT` that is shown; 0 is shown")
	return cmd
}
