package main

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/internal/version"
	"hindcheck/pipeline"
	"hindcheck/pipeline/privacy"
)

func eraseCommand(s command.Streams) *cobra.Command {
	opt := pipeline.EraseOptions{}
	cmd := &cobra.Command{
		Use:   "erase",
		Short: "Remove every record of one animal or owner, on request",
		Long: `erase removes every record of one animal or owner from the store: present and
superseded calls, checks and outcomes, and the cases, wholly or not at all. The
identifier is read from standard input, so that it stays out of the shell's
history; the key must be the store's. A receipt is printed that names nobody.

The exports are not touched; delete the rows there too, since loading them again
under a changed description, or trying their refused rows again, would bring the
records back. A review of an earlier state says from then on how much was erased
since.`,
		Example: `  ingest erase --store store --kind animal --key-file line.key < identifier.txt`,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			if opt.Kind != "animal" && opt.Kind != "owner" {
				return fmt.Errorf("%w: --kind %q: expected animal or owner", settings.ErrUsage, opt.Kind)
			}
			if opt.Key, err = privacy.ReadKey(set.KeyFile, command.Getenv(s.Env)); err != nil {
				return err
			}
			if opt.Identifier, err = bufio.NewReader(s.In).ReadString('\n'); err != nil && err != io.EOF {
				return fmt.Errorf("erase: read the identifier: %w", err)
			}
			if opt.Identifier = strings.TrimSpace(opt.Identifier); opt.Identifier == "" {
				return fmt.Errorf("%w: expected the identifier on standard input, found nothing", settings.ErrUsage)
			}
			opt.Store, opt.Now, opt.Threads, opt.Software = set.Store, time.Now(), set.Threads, version.String()
			r, err := pipeline.Erase(cmd.Context(), opt)
			if err != nil {
				return err
			}
			return write(s, set, output{value: r,
				text: func(w io.Writer) error { return writeReceipt(w, r) },
				csv:  func(w io.Writer) error { return writeReceiptCSV(w, r) }})
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "store", "key-file", "threads", "format", "out")
	cmd.Flags().StringVar(&opt.Kind, "kind", "", "whose records: animal or owner")
	return cmd
}

func writeReceipt(w io.Writer, r *pipeline.Receipt) error {
	fmt.Fprintf(w, "erased on %s, one %s:", r.At.Format("2006-01-02 15:04 UTC"), r.Kind)
	for i, table := range erasedTables(r) {
		if i > 0 {
			fmt.Fprint(w, ",")
		}
		fmt.Fprintf(w, " %s %d", table, r.Rows[table])
	}
	fmt.Fprintf(w, " (present and superseded rows, %d files written anew or dropped)\n", r.FilesRewritten)
	if !r.OldFilesGone {
		fmt.Fprintln(w, "a reader still holds the old files; the next load or erasure deletes them")
		return nil
	}
	_, err := fmt.Fprintln(w, "the old files are deleted; backups and the exports themselves are not touched")
	return err
}

func erasedTables(r *pipeline.Receipt) []string {
	var out []string
	for table := range r.Rows {
		out = append(out, table)
	}
	slices.Sort(out)
	return out
}

func writeReceiptCSV(w io.Writer, r *pipeline.Receipt) error {
	rows := [][]string{{"at", "kind", "table", "rows", "old_files_gone"}}
	for _, table := range erasedTables(r) {
		rows = append(rows, []string{r.At.Format(time.RFC3339), r.Kind, table, fmt.Sprint(r.Rows[table]), fmt.Sprint(r.OldFilesGone)})
	}
	return csv.NewWriter(w).WriteAll(rows)
}
