package main

import (
	"encoding/csv"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/pipeline"
)

func tidyCommand(s command.Streams) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "tidy",
		Short: "Delete files that no longer count, so that a listing of current/ is the present",
		Long: `tidy deletes the files of the store that its manifest does not list: those that a
later load replaced while somebody was reading, and what a load that was cut left
behind. After it a bare pattern such as store/current/calls/**/*.parquet names
exactly the present rows, until the next load.

A load tidies up by itself; this is for the case that a reader was at work then. It
deletes nothing while one is: status 1, try again later.`,
		Example: `  report demo --dir demo
  ingest tidy --store demo/store`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			got, err := pipeline.Tidy(nil, set.Store)
			if err != nil {
				return err
			}
			return write(s, set, output{value: got,
				text: func(w io.Writer) error {
					_, err := fmt.Fprintf(w, "%s: %d files deleted (%.1f MB); the folders hold what the manifest lists and nothing else\n", set.Store, got.Files, float64(got.Bytes)/1e6)
					return err
				},
				csv: func(w io.Writer) error {
					return csv.NewWriter(w).WriteAll([][]string{{"files", "bytes"}, {fmt.Sprint(got.Files), fmt.Sprint(got.Bytes)}})
				}})
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "store", "format", "out")
	return cmd
}
