package main

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/pipeline"
	"hindcheck/pipeline/privacy"
)

func lookupCommand(s command.Streams) *cobra.Command {
	var ids []string
	cmd := &cobra.Command{
		Use:   "lookup CALLS-EXPORT...",
		Short: "Find the call numbers of a few pseudonyms in the original export",
		Long: `lookup reads the original calls exports again under the key and prints the call
system's own numbers of at most 200 pseudonyms of calls or episodes, so that a
case can be discussed or an audit sheet telephoned. Nothing is kept.

Pseudonyms come from --id, or one a line from standard input.`,
		Example: `  ingest lookup --store store --sources sources --id 6f1c2d3e-1b7a-4c55-9d1e-0a2b3c4d5e6f exports/calls-*.csv
  ingest lookup --store store --sources sources exports/calls-*.csv < ids.txt`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			key, err := privacy.ReadKey(set.KeyFile, command.Getenv(s.Env))
			if err != nil {
				return err
			}
			if len(ids) == 0 {
				if ids, err = readLines(s.In); err != nil {
					return fmt.Errorf("lookup: read pseudonyms: %w", err)
				}
			}
			if len(ids) == 0 || len(ids) > pipeline.MaxLookup {
				return fmt.Errorf("%w: expected 1 to %d pseudonyms by --id or on standard input, found %d", settings.ErrUsage, pipeline.MaxLookup, len(ids))
			}
			found, err := pipeline.LookUp(cmd.Context(), pipeline.LookupOptions{Store: set.Store, Exports: args, Sources: []string{set.Sources}, Key: key, Pseudonyms: ids})
			if err != nil {
				return err
			}
			return write(s, set, output{value: found,
				text: func(w io.Writer) error { return writeLookup(w, found) },
				csv:  func(w io.Writer) error { return writeLookupCSV(w, found) }})
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "store", "sources", "key-file", "format", "out")
	cmd.Flags().StringArrayVar(&ids, "id", nil, "`PSEUDONYM` to look up; may be repeated")
	return cmd
}

// readLines reads words from r, one a line; more than can be asked is refused
// by the caller, so reading stops soon after.
func readLines(r io.Reader) ([]string, error) {
	var out []string
	in := bufio.NewScanner(r)
	for in.Scan() && len(out) <= pipeline.MaxLookup {
		if line := strings.TrimSpace(in.Text()); line != "" {
			out = append(out, line)
		}
	}
	return out, in.Err()
}

func writeLookup(w io.Writer, found []pipeline.Lookup) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "pseudonym\tcall\texport\trow")
	for _, f := range found {
		if f.Call == "" {
			fmt.Fprintf(tw, "%s\tnot in these exports\t\t\n", f.Pseudonym)
			continue
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%d\n", f.Pseudonym, f.Call, f.File, f.Row)
	}
	return tw.Flush()
}

func writeLookupCSV(w io.Writer, found []pipeline.Lookup) error {
	rows := [][]string{{"pseudonym", "call", "file", "row"}}
	for _, f := range found {
		rows = append(rows, []string{f.Pseudonym, f.Call, f.File, fmt.Sprint(f.Row)})
	}
	return csv.NewWriter(w).WriteAll(rows)
}
