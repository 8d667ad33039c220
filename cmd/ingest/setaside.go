package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/pipeline"
	"hindcheck/pipeline/resolve"
)

func setAsideCommand(s command.Streams) *cobra.Command {
	var f resolve.AsideFilter
	var limit int
	cmd := &cobra.Command{
		Use:   "set-aside",
		Short: "Show the rows that were refused, by reason",
		Long: `set-aside counts the rows that were refused by reason and shows where they stand,
what was expected and what to do. The cell itself is not kept: look at the row in
the export. Once the description is mended or what was missing has come, try the
rows again with: ingest set-aside retry`,
		Example: `  report demo --dir demo
  ingest set-aside --store demo/store
  ingest set-aside --store demo/store --reason unmapped_word --limit 5`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			if limit < 0 || f.Load < 0 {
				return fmt.Errorf("%w: --limit and --load: expected a number from 0", settings.ErrUsage)
			}
			rows, reasons, err := pipeline.ReadSetAside(cmd.Context(), set.Store, f, limit)
			if err != nil {
				return err
			}
			return write(s, set, output{
				value: map[string]any{"reasons": reasons, "rows": rows},
				text:  func(w io.Writer) error { return writeAside(w, rows, reasons) },
				csv:   func(w io.Writer) error { return writeAsideCSV(w, rows) }})
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "store", "format", "out")
	addAsideFilter(cmd, &f)
	cmd.Flags().IntVar(&limit, "limit", 20, "show at most `N` rows; 0 shows all")
	cmd.AddCommand(retryCommand(s))
	return cmd
}

func addAsideFilter(cmd *cobra.Command, f *resolve.AsideFilter) {
	cmd.Flags().StringVar(&f.Reason, "reason", "", "only rows set aside for this `REASON`")
	cmd.Flags().StringVar(&f.File, "file", "", "only rows of the export with this `NAME`")
	cmd.Flags().IntVar(&f.Load, "load", 0, "only rows of load `N`; 0 means all")
}

func writeAside(w io.Writer, rows []pipeline.AsideRow, reasons []pipeline.AsideReason) error {
	if len(reasons) == 0 {
		_, err := fmt.Fprintln(w, "no row was set aside")
		return err
	}
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "rows\texports\treason\t")
	total := int64(0)
	for _, r := range reasons {
		total += r.Rows
		fmt.Fprintf(tw, "%d\t%d\t%s\t\n", r.Rows, r.Files, r.Reason)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w)
	for _, r := range rows {
		column := ""
		if r.Column != "" {
			column = fmt.Sprintf(", column %q", r.Column)
		}
		fmt.Fprintf(w, "%s: row %d%s: expected %s, found %s; %s\n", r.File, r.Row, column, r.Expected, r.Found, r.Remedy)
	}
	if n := int64(len(rows)); n < total {
		fmt.Fprintf(w, "%d of %d rows shown; --limit 0 shows all\n", n, total)
	}
	return nil
}

func writeAsideCSV(w io.Writer, rows []pipeline.AsideRow) error {
	out := [][]string{{"load", "record", "file", "row", "column", "reason", "found", "expected", "remedy"}}
	for _, r := range rows {
		out = append(out, []string{fmt.Sprint(r.Load), r.Record, r.File, fmt.Sprint(r.Row), r.Column, r.Reason, r.Found, r.Expected, r.Remedy})
	}
	return csv.NewWriter(w).WriteAll(out)
}
