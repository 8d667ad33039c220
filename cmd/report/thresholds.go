package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/thresholds"
	"hindcheck/queries"
)

// thresholdsOptions are what report thresholds was asked.
type thresholdsOptions struct {
	set   settings.Settings
	ask   thresholds.Options
	write string
	id    string
}

func thresholdsCommand(s command.Streams, open opener) *cobra.Command {
	var criteria []string
	var from, to string
	opt := thresholdsOptions{}
	cmd := &cobra.Command{
		Use:   "thresholds FINDING",
		Short: "How well a number tells who needs care, and where to draw the line",
		Long: `thresholds takes one number that owners read at home and says how its readings are
spread over animals that needed care and others, how well every threshold tells
them apart, and which one each criterion would choose. Species whose physiology
differs are kept apart; readings at home, in the car and in a clinic are never
mixed. The bad end of the scale comes from the dictionary, never from the data; a
finding that is bad at both ends gets a lower and an upper threshold together.

A threshold is chosen on the earlier months and judged on the later ones. Figures
stand twice: among the animals whose outcome became known, and corrected for the
others; where nothing was followed up they are not estimable.

Criteria, by --criterion (repeat it for several):
` + thresholds.Criteria + `

--write FILE makes a new version of the rules in force in which only this one
threshold differs, for report replay --proposed. It takes one --criterion and one
--species, or a finding on which species do not differ. Owner, reason and status
are left to be written; report rules check refuses the file until they are.`,
		Example: `  report demo --dir demo
  report thresholds breathing_rate --store demo/store --species cat
  report thresholds capillary_refill_s --store demo/store --criterion cost=20 --criterion referrals=1`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			if opt.set, err = settings.Load(cmd.Flags(), s.Env); err != nil {
				return err
			}
			opt.ask.Finding = args[0]
			if err := opt.read(criteria, from, to); err != nil {
				return err
			}
			return runThresholds(cmd, s, open, opt)
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "format", "out", "cut")...)
	cmd.Flags().StringSliceVar(&opt.ask.Species, "species", nil, "`SPECIES` to look at, each by itself; none takes those with readings")
	cmd.Flags().StringVar(&opt.ask.Setting, "setting", "home", "`PLACE` of the readings: home, car, clinic or not_recorded")
	cmd.Flags().StringArrayVar(&criteria, "criterion", nil, "`CRITERION` to choose by; none shows several examples")
	cmd.Flags().StringVar(&from, "from", "", "first `MONTH`, such as 2026-01; empty is the first recorded")
	cmd.Flags().StringVar(&to, "to", "", "last `MONTH`; empty is the latest mature one")
	cmd.Flags().IntVar(&opt.ask.JudgeMonths, "judge-months", 0, "judge on the last `N` months; 0 takes a third of the period")
	cmd.Flags().StringVar(&opt.write, "write", "", "write a proposed rules `FILE` with the chosen threshold")
	cmd.Flags().StringVar(&opt.id, "id", "", "`ID` of the proposed version; empty adds _proposed to the one in force")
	return cmd
}

// read fills the options from the words of the flags.
func (o *thresholdsOptions) read(criteria []string, from, to string) (err error) {
	if o.ask.Cut, err = review.CutNumber(o.set.Cut); err != nil {
		return usage(err)
	}
	if o.ask.From, err = month("from", from); err != nil {
		return err
	}
	if o.ask.To, err = month("to", to); err != nil {
		return err
	}
	if o.ask.JudgeMonths < 0 {
		return fmt.Errorf("%w: --judge-months %d: expected 0 or more", settings.ErrUsage, o.ask.JudgeMonths)
	}
	if o.write != "" && len(criteria) != 1 {
		return fmt.Errorf("%w: --write needs exactly one --criterion: the choice is the line's, not the program's", settings.ErrUsage)
	}
	if len(criteria) == 0 {
		criteria = thresholds.Given
	}
	for _, text := range criteria {
		c, err := thresholds.ParseCriterion(text)
		if err != nil {
			return usage(err)
		}
		o.ask.Criteria = append(o.ask.Criteria, c)
	}
	o.ask.Review = reviewOptions(o.set)
	return nil
}

func usage(err error) error { return fmt.Errorf("%w: %w", settings.ErrUsage, err) }

func runThresholds(cmd *cobra.Command, s command.Streams, open opener, opt thresholdsOptions) error {
	return runProposing(cmd.Context(), s, open, opt.set, opt.write, formats[*thresholds.Result]{
		"text": thresholds.Text, "csv": thresholds.CSV, "html": thresholds.HTML, "json": asJSON[*thresholds.Result],
	}, func(db *queries.DB) (*thresholds.Result, error) {
		return thresholds.Build(cmd.Context(), db, opt.ask)
	}, func(r *thresholds.Result, meta queries.Meta) ([]byte, string, error) {
		p, err := thresholds.Propose(r, meta, opt.id)
		if err != nil {
			return nil, "", err
		}
		return p.Text, fmt.Sprintf("%s: %s became %s", strings.Join(p.Flags, ", "), p.From, p.To), nil
	})
}
