package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/internal/version"
	"hindcheck/pipeline"
)

// errUnsound makes verify end with status 1 after it has said what it found.
var errUnsound = errors.New("the store is not sound")

func verifyCommand(s command.Streams) *cobra.Command {
	var rebuild bool
	cmd := &cobra.Command{
		Use:   "verify",
		Short: "Check every file of the store, and that the cases follow from the records",
		Long: `verify reads every file of the store and compares it with its checksum, then
derives all cases from the records and compares them with the stored ones. With
--rebuild it first derives the stored cases anew; records are never touched.
Exit status 1 if anything differs.`,
		Example: `  report demo --dir demo
  ingest verify --store demo/store`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			if rebuild {
				if err := pipeline.Rebuild(cmd.Context(), pipeline.RebuildOptions{Store: set.Store, Threads: set.Threads, Software: version.String()}); err != nil {
					return err
				}
			}
			v, err := pipeline.Verify(cmd.Context(), set.Store, set.Threads)
			if err != nil {
				return err
			}
			err = write(s, set, output{value: v,
				text: func(w io.Writer) error { return writeVerification(w, set.Store, v) },
				csv:  func(w io.Writer) error { return writeVerificationCSV(w, v) }})
			if err == nil && (len(v.Faults) > 0 || v.CasesDiffer) {
				return fmt.Errorf("%s: %w", set.Store, errUnsound)
			}
			return err
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "store", "threads", "format", "out")
	cmd.Flags().BoolVar(&rebuild, "rebuild", false, "derive the cases of all months anew first")
	return cmd
}

func writeVerification(w io.Writer, dir string, v *pipeline.Verification) error {
	for _, f := range v.Faults {
		fmt.Fprintln(w, f)
	}
	switch {
	case len(v.Faults) > 0:
		fmt.Fprintf(w, "%s: %d of %d files differ from the manifest; the cases were not compared\n", dir, len(v.Faults), v.Files)
	case v.CasesDiffer:
		fmt.Fprintf(w, "%s: %d files (%.1f MB) are as the manifest says, but the cases are not what the records give; derive them anew with: ingest verify --rebuild --store %s\n",
			dir, v.Files, float64(v.Bytes)/1e6, dir)
	default:
		fmt.Fprintf(w, "%s: %d files (%.1f MB) are as the manifest says, and the cases follow from the records\n", dir, v.Files, float64(v.Bytes)/1e6)
	}
	return nil
}

func writeVerificationCSV(w io.Writer, v *pipeline.Verification) error {
	rows := [][]string{{"fault"}}
	for _, f := range v.Faults {
		rows = append(rows, []string{f})
	}
	if v.CasesDiffer {
		rows = append(rows, []string{"cases: expected what the records give, found other values; derive them anew with: ingest verify --rebuild"})
	}
	return csv.NewWriter(w).WriteAll(rows)
}
