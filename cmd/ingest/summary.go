package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"maps"
	"slices"
	"sort"
	"text/tabwriter"
	"time"

	"hindcheck/pipeline"
	"hindcheck/pipeline/store"
)

// writeSummary writes what a load did, for people.
func writeSummary(w io.Writer, dir string, sum *pipeline.Summary) error {
	writeKnown(w, sum.Known)
	if sum.Retry != nil {
		writeRetry(w, sum.Retry)
	}
	if sum.Load == 0 {
		_, err := fmt.Fprintf(w, "nothing new; %s is as it was\n", dir)
		return err
	}
	if sum.DryRun {
		fmt.Fprintf(w, "load %d would do this; nothing was changed\n", sum.Load)
	} else {
		fmt.Fprintf(w, "load %d into %s, data up to %s\n", sum.Load, dir, sum.DataCut.Format("2006-01-02"))
	}
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "records\tread\tnew\tsuperseding\tunchanged\tolder\twithin\tset aside\t")
	for _, row := range byRecord(sum.Exports) {
		writeSums(tw, row.name, row.sums)
	}
	writeSums(tw, "all", sum.Sums)
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(w, "row sum: %d new + %d superseding + %d unchanged + %d older than stored + %d superseded within the load + %d set aside = %d rows read\n",
		sum.Sums.New, sum.Sums.Superseding, sum.Sums.Unchanged, sum.Sums.Older, sum.Sums.Within, sum.Sums.SetAside, sum.Sums.Rows)
	writeCounts(w, "set aside", sum.Aside)
	for _, e := range sum.Examples {
		fmt.Fprintf(w, "  %s\n", e)
	}
	writeCounts(w, "outcomes linked by", sum.Links)
	writeUnusual(w, sum.Unusual)
	writeCounts(w, "put right or noticed", notes(sum.Exports))
	if sum.Rebuilt {
		fmt.Fprintln(w, "a definition changed: the cases of all months were derived anew")
	}
	return nil
}

// writeRetry writes what became of rows that were set aside.
func writeRetry(w io.Writer, r *pipeline.RetryAccount) {
	for _, m := range r.Missing {
		fmt.Fprintln(w, m)
	}
	fmt.Fprintf(w, "%d refused rows tried again: %d are set aside no longer, %d are still refused\n", r.Tried, r.Mended, r.Tried-r.Mended)
}

// namedKnown is how many exports that were loaded before are named; more are
// only counted.
const namedKnown = 5

func writeKnown(w io.Writer, known []pipeline.KnownExport) {
	if len(known) <= namedKnown {
		for _, k := range known {
			fmt.Fprintf(w, "%s: already loaded by load %d\n", k.Name, k.Load)
		}
		return
	}
	byLoad := map[int]int{}
	for _, k := range known {
		byLoad[k.Load]++
	}
	for _, load := range slices.Sorted(maps.Keys(byLoad)) {
		fmt.Fprintf(w, "%d exports: already loaded by load %d\n", byLoad[load], load)
	}
}

// writeSummaryCSV writes the account of every export, a row each.
func writeSummaryCSV(w io.Writer, sum *pipeline.Summary) error {
	rows := [][]string{{"export", "record", "exported_at", "rows_read", "new", "superseding", "unchanged", "older_than_stored", "superseded_within", "set_aside"}}
	for _, e := range sum.Exports {
		row := []string{e.Name, e.Record, e.ExportedAt.Format(time.RFC3339)}
		for _, n := range []int64{e.Sums.Rows, e.Sums.New, e.Sums.Superseding, e.Sums.Unchanged, e.Sums.Older, e.Sums.Within, e.Sums.SetAside} {
			row = append(row, fmt.Sprint(n))
		}
		rows = append(rows, row)
	}
	return csv.NewWriter(w).WriteAll(rows)
}

type recordSums struct {
	name string
	sums store.Sums
}

// byRecord adds up the exports by the kind of record, in the order of a load.
func byRecord(exports []store.Export) []recordSums {
	var out []recordSums
	for _, record := range []string{"calls", "checks", "outcomes", "coverage"} {
		row := recordSums{name: record}
		for _, e := range exports {
			if e.Record == record {
				row.sums.Add(e.Sums)
			}
		}
		if row.sums.Rows > 0 {
			out = append(out, row)
		}
	}
	return out
}

func writeSums(w io.Writer, name string, s store.Sums) {
	fmt.Fprintf(w, "%s\t%d\t%d\t%d\t%d\t%d\t%d\t%d\t\n", name, s.Rows, s.New, s.Superseding, s.Unchanged, s.Older, s.Within, s.SetAside)
}

func notes(exports []store.Export) map[string]int64 {
	out := map[string]int64{}
	for _, e := range exports {
		for k, n := range e.Notes {
			out[k] += n
		}
	}
	return out
}

// writeUnusual writes which readings lie outside the usual range, a line a finding.
func writeUnusual(w io.Writer, list []store.Unusual) {
	last := ""
	for _, u := range list {
		if u.Below+u.Above == 0 {
			continue
		}
		sep := ";"
		if u.Finding != last {
			if last != "" {
				fmt.Fprintln(w)
			}
			fmt.Fprintf(w, "outside the usual range, and kept: %s", u.Finding)
			last, sep = u.Finding, ""
		}
		fmt.Fprintf(w, "%s %s %d below and %d above of %d", sep, u.Species, u.Below, u.Above, u.Readings)
	}
	if last != "" {
		fmt.Fprintln(w)
	}
}

// writeCounts writes "title: a 1, b 2" in the order of the names.
func writeCounts(w io.Writer, title string, counts map[string]int64) {
	var names []string
	for name, n := range counts {
		if n > 0 {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return
	}
	sort.Strings(names)
	fmt.Fprintf(w, "%s:", title)
	for i, name := range names {
		sep := ","
		if i == 0 {
			sep = ""
		}
		fmt.Fprintf(w, "%s %s %d", sep, name, counts[name])
	}
	fmt.Fprintln(w)
}
