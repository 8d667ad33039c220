package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/tune"
	"hindcheck/queries"
)

// tuneOptions are what report tune was asked.
type tuneOptions struct {
	set       settings.Settings
	ask       tune.Options
	write, id string
}

func tuneCommand(s command.Streams, open opener) *cobra.Command {
	var criterion, from, to string
	opt := tuneOptions{}
	cmd := &cobra.Command{
		Use:   "tune",
		Short: "Several thresholds at once under one criterion",
		Long: `tune looks for thresholds of several flags at once. One scan counts how far each
reading lies beyond the candidate thresholds; what any combination would have done
to the calls already taken is a sum of those counts. A combination is chosen on the
earlier months and judged on the later ones, and the path of trade-offs is shown:
referrals against missed animals, with the rules in force marked. It also lists
what each flag sends in alone, so that a flag that is too cautious stands out.

Criteria, by --criterion:
` + tune.Criteria + `

Without --flag every flag that rests on one number, demands just the cut and has
enough readings may move. A flag on codes that is named may stay or be left out. Nothing is written unless
--write FILE asks for a proposal, for report replay --proposed; report rules check
refuses it until owner, reason and status are written.`,
		Example: `  report demo --dir demo
  report tune --store demo/store --criterion extra=0.2
  report tune --store demo/store --cut emergency --criterion sensitivity=0.5 --format csv`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) (err error) {
			if opt.set, err = settings.Load(cmd.Flags(), s.Env); err != nil {
				return err
			}
			if err := opt.read(criterion, from, to); err != nil {
				return err
			}
			return runTune(cmd, s, open, opt)
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "format", "out", "cut")...)
	cmd.Flags().StringVar(&criterion, "criterion", "", "`CRITERION` to choose by, such as sensitivity=0.97 or extra=12")
	cmd.Flags().StringSliceVar(&opt.ask.Flags, "flag", nil, "`FLAG` that may move; repeat it for several")
	cmd.Flags().IntVar(&opt.ask.Steps, "steps", 10, "the most candidate thresholds of a flag, 2 to 40")
	cmd.Flags().IntVar(&opt.ask.MinReadings, "min-readings", 50, "the least `N` of readings with which a flag may move without being named")
	cmd.Flags().StringVar(&from, "from", "", "first `MONTH`, such as 2026-01; empty is the first recorded")
	cmd.Flags().StringVar(&to, "to", "", "last `MONTH`; empty is the latest mature one")
	cmd.Flags().IntVar(&opt.ask.JudgeMonths, "judge-months", 0, "judge on the last `N` months; 0 takes a third of the period")
	cmd.Flags().StringVar(&opt.write, "write", "", "write a proposed rules `FILE` with the chosen thresholds")
	cmd.Flags().StringVar(&opt.id, "id", "", "`ID` of the proposed version; empty adds _proposed to the one in force")
	return cmd
}

// read fills the options from the words of the flags.
func (o *tuneOptions) read(criterion, from, to string) (err error) {
	if o.ask.Cut, err = review.CutNumber(o.set.Cut); err != nil {
		return usage(err)
	}
	if criterion == "" {
		return fmt.Errorf("%w: --criterion is missing: the choice is the line's, not the program's; expected one of\n%s", settings.ErrUsage, tune.Criteria)
	}
	if o.ask.Criterion, err = tune.ParseCriterion(criterion); err != nil {
		return usage(err)
	}
	if o.ask.From, err = month("from", from); err != nil {
		return err
	}
	if o.ask.To, err = month("to", to); err != nil {
		return err
	}
	if o.ask.Steps < 2 || o.ask.Steps > 40 {
		return fmt.Errorf("%w: --steps %d: expected 2 to 40", settings.ErrUsage, o.ask.Steps)
	}
	if o.ask.MinReadings < 1 {
		return fmt.Errorf("%w: --min-readings %d: expected 1 or more", settings.ErrUsage, o.ask.MinReadings)
	}
	if o.ask.JudgeMonths < 0 {
		return fmt.Errorf("%w: --judge-months %d: expected 0 or more", settings.ErrUsage, o.ask.JudgeMonths)
	}
	o.ask.Review = reviewOptions(o.set)
	return nil
}

func runTune(cmd *cobra.Command, s command.Streams, open opener, opt tuneOptions) error {
	return runProposing(cmd.Context(), s, open, opt.set, opt.write, formats[*tune.Result]{
		"text": tune.Text, "csv": tune.CSV, "html": tune.HTML, "json": asJSON[*tune.Result],
	}, func(db *queries.DB) (*tune.Result, error) {
		return tune.Build(cmd.Context(), db, opt.ask)
	}, func(r *tune.Result, meta queries.Meta) ([]byte, string, error) {
		p, err := tune.Propose(r, meta, opt.id)
		if err != nil {
			return nil, "", err
		}
		return p.Text, strings.Join(p.Flags, ", "), nil
	})
}
