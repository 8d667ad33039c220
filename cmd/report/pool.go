package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/pool"
)

// poolWriters by format.
var poolWriters = map[string]func(io.Writer, *pool.Result) error{
	"text": pool.Text,
	"csv":  pool.CSV,
	"html": pool.HTML,
	"json": func(w io.Writer, r *pool.Result) error { return command.WriteJSON(w, r) },
}

func poolCommand(s command.Streams) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "pool FILE...",
		Short: "Pool the counts of several lines",
		Long: `pool joins the files that report counts wrote, one a line, under random effects:
sensitivity and specificity of the advice, the rules and every flag, naive beside
corrected, how much the lines differ, and where a further line may lie. What too few
lines can tell is not estimable. No record is needed or moved.`,
		Example: `  report demo --dir demo
  report counts --store demo/store --line north --out north.json
  report demo --dir other --seed 2
  report counts --store other/store --line south --out south.json
  report pool north.json south.json
  report pool north.json south.json --format html --out pooled.html`,
		Args: cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			write, err := chooseWriter(set.Format, poolWriters)
			if err != nil {
				return err
			}
			var lines []*pool.Counts
			for _, path := range args {
				c, err := pool.Read(path)
				if err != nil {
					return fmt.Errorf("pool: %w", err)
				}
				lines = append(lines, c)
			}
			r, err := pool.Pool(lines, set.Confidence)
			if err != nil {
				return fmt.Errorf("pool: %w", err)
			}
			return command.WriteResult(s.Out, set.Out, func(w io.Writer) error { return write(w, r) })
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "format", "out", "confidence")
	return cmd
}
