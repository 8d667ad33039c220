package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/rulecheck"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
)

func rulesCommand(s command.Streams, open opener) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "rules",
		Short: "Check a rules file, or say in words what changed between two",
		Long: `rules looks at rules files: check reads one critically, diff says in words what
changed from one to another, and schema prints the JSON Schema of the file, for
editors that check while you type.`,
		Example: `  report demo --dir demo
  report rules check demo/rules.yaml
  report rules diff demo/rules.yaml demo/rules.yaml`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(rulesCheckCommand(s, open), rulesDiffCommand(s), rulesSchemaCommand(s))
	return cmd
}

// checkOptions are what report rules check was asked.
type checkOptions struct {
	set    settings.Settings
	file   string
	day    time.Time
	refuse string
	// recorded is whether a store was named to try the flags on.
	recorded bool
}

func rulesCheckCommand(s command.Streams, open opener) *cobra.Command {
	var day, refuse string
	cmd := &cobra.Command{
		Use:   "check FILE",
		Short: "Read a rules file critically",
		Long: `check reads a rules file and says what cannot work, what has no effect and what
is missing: flags that contradict each other, that can never or always fire, that
one or several others make needless; findings that are not in the dictionary;
thresholds outside the readings that are stored; species and ends of a scale
without a flag; what happens when nobody could look; the days in force; and what
each threshold does to a reading one step below, on and one step above it.

With --store it also tries the flags on the records of the monthly review's period:
flags that never or always fired, questions that are hardly ever answered.

The exit status is 3 if anything is wrong, so that a rules repository can run it
as a check; --refuse doubtful is stricter. That a file has no remarks is no
approval: a licensed veterinary professional gives that.`,
		Example: `  report demo --dir demo
  report rules check demo/rules.yaml
  report rules check demo/rules.yaml --store demo/store --format csv`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			opt := checkOptions{set: set, file: args[0], day: time.Now(), refuse: refuse, recorded: cmd.Flags().Changed("store")}
			if day != "" {
				if opt.day, err = time.Parse(time.DateOnly, day); err != nil {
					return fmt.Errorf("%w: --day %q: expected a day such as 2026-07-31", settings.ErrUsage, day)
				}
			}
			if refuse != "wrong" && refuse != "doubtful" {
				return fmt.Errorf("%w: --refuse %q: expected wrong or doubtful", settings.ErrUsage, refuse)
			}
			return runRulesCheck(cmd.Context(), s, open, opt)
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "format", "out", "dictionary")...)
	cmd.Flags().StringVar(&day, "day", "", "`DAY` for which the days in force are judged; empty is today")
	cmd.Flags().StringVar(&refuse, "refuse", "wrong", "from which `SEVERITY` on the file is refused: wrong or doubtful")
	return cmd
}

func runRulesCheck(ctx context.Context, s command.Streams, open opener, opt checkOptions) error {
	write, err := chooseWriter(opt.set.Format, formats[*rulecheck.Result]{"text": rulecheck.Text, "csv": rulecheck.CSV, "json": asJSON[*rulecheck.Result]})
	if err != nil {
		return err
	}
	dict, err := findings.Load(opt.set.Dictionary)
	if err != nil {
		return err
	}
	ask := rulecheck.Options{Dictionary: dict, Day: opt.day, Review: reviewOptions(opt.set)}
	if opt.recorded {
		if ask.DB, err = open(ctx, opt.set); err != nil {
			return err
		}
		defer ask.DB.Close()
	}
	r, err := rulecheck.Check(ctx, opt.file, ask)
	if err != nil {
		return err
	}
	if err := command.WriteResult(s.Out, opt.set.Out, func(w io.Writer) error { return write(w, r) }); err != nil {
		return err
	}
	if r.Wrong > 0 || opt.refuse == "doubtful" && r.Doubtful > 0 {
		return fmt.Errorf("%w: %s is refused: %d wrong, %d doubtful", command.ErrGate, opt.file, r.Wrong, r.Doubtful)
	}
	return nil
}

func rulesDiffCommand(s command.Streams) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "diff OLD NEW",
		Short: "Say in words what changed from one rules file to another",
		Long: `diff lists what changed from one rules file to another: flags added, removed and
changed, limit by limit and threshold by threshold, with what that does to how
often a flag fires; the order of the flags; the texts above them. Another layout
of the same rules is no change. What a change would have done to the calls taken
is for report replay to say.`,
		Example: `  report demo --dir demo
  report rules diff demo/rules.yaml demo/rules.yaml`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			write, err := chooseWriter(set.Format, formats[*rulecheck.Comparison]{
				"text": rulecheck.ComparisonText, "csv": rulecheck.ComparisonCSV, "json": asJSON[*rulecheck.Comparison]})
			if err != nil {
				return err
			}
			dict, err := findings.Load(set.Dictionary)
			if err != nil {
				return err
			}
			c, err := rulecheck.Compare(args[0], args[1], dict)
			if err != nil {
				return err
			}
			return command.WriteResult(s.Out, set.Out, func(w io.Writer) error { return write(w, c) })
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "format", "out", "dictionary")
	return cmd
}

func rulesSchemaCommand(s command.Streams) *cobra.Command {
	return &cobra.Command{
		Use:     "schema",
		Short:   "Print the JSON Schema of a rules file",
		Example: "  report rules schema",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			_, err := s.Out.Write(rules.Schema)
			return err
		},
	}
}
