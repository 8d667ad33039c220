package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/pipeline/inspect"
)

func inspectCommand(s command.Streams) *cobra.Command {
	var draft string
	cmd := &cobra.Command{
		Use:   "inspect FILE...",
		Short: "Say what an export holds, and draft its source description",
		Long: `inspect reads exports to their end and says how they seem to be written and what
their columns hold: kinds, blanks, different values with their counts (exact up to
` + fmt.Sprint(inspect.MaxDistinct) + `, estimated above), and for dates every layout that fits all values: where both
02/01 and 01/02 fit, both are shown, and somebody has to be asked.

Columns that look like keys, names, telephone numbers, addresses, chip numbers or
free text are described by kind and length; their values are not shown. That is
judged from looks and can err: look at the output before you pass it on.

With --draft it writes a source description for records of that kind to finish by
hand. No store and no key are needed.`,
		Example: `  report demo --dir demo
  ingest inspect demo/exports/calls-2026-05*.csv
  ingest inspect --draft calls demo/exports/calls-2026-05*.csv > calls.yaml`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			if err := checkDraft(cmd, draft, args, set); err != nil {
				return err
			}
			var reports []*inspect.Report
			for _, path := range args {
				rep, err := inspect.File(cmd.Context(), path)
				if err != nil {
					return fmt.Errorf("inspect: %w", err)
				}
				reports = append(reports, rep)
			}
			text := func(w io.Writer) error { return writeReports(w, reports) }
			if cmd.Flags().Changed("draft") {
				data, err := inspect.Draft(reports[0], draft)
				if err != nil {
					return fmt.Errorf("inspect: %w", err)
				}
				text = func(w io.Writer) error { _, err := w.Write(data); return err }
			}
			return write(s, set, output{value: reports, text: text, csv: func(w io.Writer) error { return writeReportsCSV(w, reports) }})
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "format", "out")
	cmd.Flags().StringVar(&draft, "draft", "", "write a source description for records of this `KIND`: calls, checks, outcomes or coverage")
	return cmd
}

// checkDraft refuses what does not go with --draft.
func checkDraft(cmd *cobra.Command, draft string, args []string, set settings.Settings) error {
	if !cmd.Flags().Changed("draft") {
		return nil
	}
	switch {
	case !slices.Contains([]string{"calls", "checks", "outcomes", "coverage"}, draft):
		return fmt.Errorf("%w: --draft %q: expected calls, checks, outcomes or coverage", settings.ErrUsage, draft)
	case len(args) != 1:
		return fmt.Errorf("%w: --draft: expected one file, found %d", settings.ErrUsage, len(args))
	case set.Format != "text":
		return fmt.Errorf("%w: --draft writes YAML; expected no --format, found %s", settings.ErrUsage, set.Format)
	}
	return nil
}

func writeReports(w io.Writer, reports []*inspect.Report) error {
	for i, rep := range reports {
		if i > 0 {
			fmt.Fprintln(w)
		}
		if err := writeReport(w, rep); err != nil {
			return err
		}
	}
	return nil
}

func writeReport(w io.Writer, rep *inspect.Report) error {
	fmt.Fprintf(w, "%s: %d rows, %d columns, %d bytes\n", rep.File, rep.Rows, len(rep.Columns), rep.Bytes)
	fmt.Fprintf(w, "proposed from the bytes, to be confirmed:\n  %s\n", strings.Join(rep.Proposal.Lines(), "\n  "))
	if rep.HeaderDoubt != "" {
		fmt.Fprintf(w, "beware: %s\n", rep.HeaderDoubt)
	}
	if rep.Broken > 0 {
		fmt.Fprintf(w, "%d rows could not be taken apart:\n", rep.Broken)
		for _, b := range rep.BrokenAt {
			fmt.Fprintf(w, "  %s\n", b)
		}
	}
	for _, n := range slices.Sorted(maps.Keys(rep.Notes)) {
		fmt.Fprintf(w, "%s: %d\n", strings.ReplaceAll(n, "_", " "), rep.Notes[n])
	}
	for _, c := range rep.Columns {
		if _, err := fmt.Fprintf(w, "%3d %q: %s\n", c.Place, c.Name, c.Summary()); err != nil {
			return err
		}
		if warning := c.Warning(); warning != "" {
			fmt.Fprintf(w, "      beware: %s\n", warning)
		}
	}
	return nil
}

// writeReportsCSV writes a row a column.
func writeReportsCSV(w io.Writer, reports []*inspect.Report) error {
	rows := [][]string{{"file", "place", "column", "kind", "filled", "blank", "other", "distinct", "estimated", "shortest", "longest", "layouts", "personal"}}
	for _, rep := range reports {
		for _, c := range rep.Columns {
			var layouts []string
			for _, l := range c.Layouts {
				layouts = append(layouts, l.Layout)
			}
			blank := c.Blank
			for _, n := range c.BlankWords {
				blank += n
			}
			rows = append(rows, []string{rep.File, fmt.Sprint(c.Place), c.Name, string(c.Kind), fmt.Sprint(c.Filled), fmt.Sprint(blank), fmt.Sprint(c.Other),
				fmt.Sprint(c.Distinct), fmt.Sprint(c.Estimated), fmt.Sprint(c.Shortest), fmt.Sprint(c.Longest), strings.Join(layouts, " | "), c.Personal})
		}
	}
	return csv.NewWriter(w).WriteAll(rows)
}
