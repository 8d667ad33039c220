package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/page"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/queries"
)

func queryCommand(s command.Streams, open opener) *cobra.Command {
	var params []string
	cmd := &cobra.Command{
		Use:   "query [NAME]",
		Short: "List the named questions, or run one",
		Long: `query without a name lists the questions that can be asked of a store, with their
parameters and columns. With a name it runs one and prints its rows.

Parameters that are not given take the period, cut and maturity of the monthly
review: the twelve months to the latest mature one.`,
		Example: `  report demo --dir demo
  report query
  report query missed_cases --store demo/store --param cut=emergency
  report query finding_values --store demo/store --param finding=capillary_refill_s --format csv`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			given, err := parseParams(params)
			if err != nil {
				return err
			}
			write, err := chooseWriter(set.Format, tables)
			if err != nil {
				return err
			}
			if len(args) == 0 {
				return command.WriteResult(s.Out, set.Out, func(w io.Writer) error { return listQuestions(w, set.Format) })
			}
			t, err := runQuery(cmd.Context(), open, set, args[0], given)
			if err != nil {
				return err
			}
			return command.WriteResult(s.Out, set.Out, func(w io.Writer) error { return write(w, t) })
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "data", "format", "out", "cut")...)
	cmd.Flags().StringArrayVar(&params, "param", nil, "a parameter as `NAME=VALUE`; may be repeated")
	return cmd
}

func parseParams(list []string) (map[string]string, error) {
	out := map[string]string{}
	for _, p := range list {
		name, value, ok := strings.Cut(p, "=")
		if !ok || name == "" {
			return nil, fmt.Errorf("%w: --param %q: expected NAME=VALUE", settings.ErrUsage, p)
		}
		out[name] = value
	}
	return out, nil
}

// tables are the forms of the answer to a question.
var tables = formats[queries.Table]{"text": page.TableText, "csv": page.TableCSV, "json": page.TableJSON}

func runQuery(ctx context.Context, open opener, set settings.Settings, name string, given map[string]string) (queries.Table, error) {
	if err := known(name); err != nil {
		return queries.Table{}, err
	}
	db, err := open(ctx, set)
	if err != nil {
		return queries.Table{}, err
	}
	defer db.Close()
	scope, err := review.DefaultPeriod(ctx, db, reviewOptions(set))
	if err != nil {
		return queries.Table{}, fmt.Errorf("query: %w", err)
	}
	defaults := map[string]string{
		"from_month": queries.FormatMonth(scope.From), "to_month": queries.FormatMonth(scope.To),
		"mature_before": scope.MatureBefore.Format("2006-01-02T15:04:05Z07:00"), "cut": set.Cut, "cluster": "animal",
		"current": "in_force", "proposed": "in_force", "most": "100", "night_from": "20", "night_to": "8",
	}
	t, err := db.Run(ctx, name, given, defaults)
	if err != nil {
		return t, blame(fmt.Errorf("query: %w", err))
	}
	return t, nil
}

// known refuses a name before a store is opened for it.
func known(name string) error {
	all, err := queries.Questions()
	if err != nil {
		return err
	}
	for _, q := range all {
		if q.Name == name {
			return nil
		}
	}
	return fmt.Errorf("%w: no question %q; report query lists them", settings.ErrUsage, name)
}

func listQuestions(w io.Writer, format string) error {
	all, err := queries.Questions()
	if err != nil {
		return err
	}
	switch format {
	case "json":
		return command.WriteJSON(w, all)
	case "csv":
		return page.QuestionsCSV(w, all)
	}
	for i, q := range all {
		if i > 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "%s\n  %s\n  %s\n", q.Name, q.Answers, strings.ToUpper(q.Row[:1])+q.Row[1:]+".")
		tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		for _, p := range q.Params {
			fmt.Fprintf(tw, "    --param %s\t%s\t%s\n", p.Name, p.Type, p.Text)
		}
		if err := tw.Flush(); err != nil {
			return err
		}
	}
	return nil
}
