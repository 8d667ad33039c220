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
)

func statusCommand(s command.Streams) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "status",
		Short: "Say what the store holds: months, rows, last loads",
		Example: `  report demo --dir demo
  ingest status --store demo/store`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			st, err := pipeline.ReadStatus(cmd.Context(), set.Store)
			if err != nil {
				return err
			}
			return write(s, set, output{value: st,
				text: func(w io.Writer) error { return writeStatus(w, st) },
				csv:  func(w io.Writer) error { return writeStatusCSV(w, st) }})
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "store", "format", "out")
	return cmd
}

// writeStatusCSV writes a row a month.
func writeStatusCSV(w io.Writer, st *pipeline.Status) error {
	rows := [][]string{{"month", "episodes", "verified", "calls", "checks", "outcomes"}}
	for _, m := range st.Months {
		rows = append(rows, []string{fmt.Sprintf("%d-%02d", m.Month/100, m.Month%100), fmt.Sprint(m.Episodes), fmt.Sprint(m.Verified), fmt.Sprint(m.Calls), fmt.Sprint(m.Checks), fmt.Sprint(m.Outcomes)})
	}
	return csv.NewWriter(w).WriteAll(rows)
}

// shownLoads is how many of the latest loads the text shows.
const shownLoads = 5

func writeStatus(w io.Writer, st *pipeline.Status) error {
	fmt.Fprintf(w, "%s: load %d, data up to %s, %.1f MB, written by %s\n", st.Store, len(st.Loads), st.DataCut.Format("2006-01-02"), float64(st.Bytes)/1e6, st.Software)
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "month\tepisodes\tverified\tcalls\tchecks\toutcomes\t")
	for _, m := range st.Months {
		fmt.Fprintf(tw, "%d-%02d\t%d\t%d\t%d\t%d\t%d\t\n", m.Month/100, m.Month%100, m.Episodes, m.Verified, m.Calls, m.Checks, m.Outcomes)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "verified: episodes with a report of what was found, by whatever route")
	writeCounts(w, "outcomes linked by", st.Links)
	writeUnusual(w, st.Unusual)
	fmt.Fprintf(w, "set aside: %d rows\n", st.SetAside)
	for _, e := range st.Erasures {
		fmt.Fprintf(w, "erased after load %d, on %s: one %s, %d calls\n", e.AfterLoad, e.At.Format("2006-01-02"), e.Kind, e.Rows["calls"])
	}
	for i := max(0, len(st.Loads)-shownLoads); i < len(st.Loads); i++ {
		l := st.Loads[i]
		fmt.Fprintf(w, "load %d at %s: %d exports, %d rows read, %d new, %d superseding, %d set aside\n",
			l.No, l.At.Format("2006-01-02 15:04"), len(l.Exports), l.Sums.Rows, l.Sums.New, l.Sums.Superseding, l.Sums.SetAside)
	}
	return nil
}
