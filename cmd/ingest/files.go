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

func filesCommand(s command.Streams) *cobra.Command {
	var asSQL bool
	cmd := &cobra.Command{
		Use:   "files",
		Short: "List the Parquet files of the present, or views over them for another engine",
		Long: `files lists the Parquet files that make up the present: records and cases. With
--sql it prints CREATE VIEW statements with explicit lists, for any engine that has
read_parquet. A folder listing is no substitute: it may hold files that no longer
count. The list is that of this moment; a later load makes new files.`,
		Example: `  report demo --dir demo
  ingest files --store demo/store
  ingest files --store demo/store --sql --out views.sql`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			files, err := pipeline.ListFiles(set.Store)
			if err != nil {
				return err
			}
			text := func(w io.Writer) error {
				for _, f := range files {
					if _, err := fmt.Fprintln(w, f.Path); err != nil {
						return err
					}
				}
				return nil
			}
			if asSQL {
				text = func(w io.Writer) error { _, err := io.WriteString(w, pipeline.ViewsSQL(files)); return err }
			}
			return write(s, set, output{value: files, text: text, csv: func(w io.Writer) error { return writeFilesCSV(w, files) }})
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "store", "format", "out")
	cmd.Flags().BoolVar(&asSQL, "sql", false, "print CREATE VIEW statements instead of paths")
	return cmd
}

func writeFilesCSV(w io.Writer, files []pipeline.FileInfo) error {
	rows := [][]string{{"table", "month", "rows", "path"}}
	for _, f := range files {
		rows = append(rows, []string{f.Table, fmt.Sprint(f.Month), fmt.Sprint(f.Rows), f.Path})
	}
	return csv.NewWriter(w).WriteAll(rows)
}
