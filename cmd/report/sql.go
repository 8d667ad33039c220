package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/queries/sandbox"
)

// sqlOptions are what report sql was asked.
type sqlOptions struct {
	set       settings.Settings
	text      string
	tables    bool
	functions bool
	limit     time.Duration
	data      string
}

func sqlCommand(s command.Streams) *cobra.Command {
	var opt sqlOptions
	cmd := &cobra.Command{
		Use:   "sql [QUERY]",
		Short: "Run one SELECT of your own over the records",
		Long: `sql runs one SELECT over the views calls, checks, outcomes, coverage, cases and
set_aside, in the dialect of DuckDB, and prints its rows; with --data over the
tables of a published dataset. A query of - is read from standard input.

The query runs in a process of its own that can read nothing but the records,
cannot write, and is stopped at --time-limit or when it needs more than --memory.
Functions outside a fixed list are refused; --functions prints the list, --tables
the views with their columns.

Text shows at most 500 rows. csv, json, parquet and arrow give all; a result that
is not complete is never written.`,
		Example: `  report demo --dir demo
  report sql --store demo/store --tables
  report sql --store demo/store "SELECT species, count(*) AS episodes FROM cases GROUP BY species ORDER BY species"
  report sql --store demo/store --format parquet --out cats.parquet "SELECT * FROM cases WHERE species = 'cat'"
  report publish open --store demo/store
  report sql --data open "SELECT level, count(*) AS episodes FROM episodes GROUP BY level"`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			opt.set = set
			if opt.text, err = queryText(s.In, args); err != nil {
				return err
			}
			return runSQL(cmd.Context(), s, opt)
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "store", "as-of", "threads", "memory", "format", "out")
	cmd.Flags().Lookup("format").Usage = strings.Join(sandbox.Formats, ", ")
	cmd.Flags().BoolVar(&opt.tables, "tables", false, "print the views and their columns")
	cmd.Flags().BoolVar(&opt.functions, "functions", false, "print the functions that may be called")
	cmd.Flags().StringVar(&opt.data, "data", "", "`FOLDER` of a published dataset, instead of a store")
	cmd.Flags().DurationVar(&opt.limit, "time-limit", 30*time.Second, "stop the query after this `TIME`, such as 2m")
	return cmd
}

// maxQuery bounds what is read from standard input; the sandbox has a lower
// limit of its own with a message.
const maxQuery = 1 << 20

func queryText(in io.Reader, args []string) (string, error) {
	if len(args) == 0 || args[0] != "-" {
		return strings.Join(args, " "), nil
	}
	data, err := io.ReadAll(io.LimitReader(in, maxQuery))
	if err != nil {
		return "", fmt.Errorf("read the query from standard input: %w", err)
	}
	return string(data), nil
}

func runSQL(ctx context.Context, s command.Streams, opt sqlOptions) error {
	if opt.functions {
		return printFunctions(s.Out, opt.set)
	}
	if err := oneOfFormats(opt.set.Format, sandbox.Formats...); err != nil {
		return err
	}
	if !opt.tables && strings.TrimSpace(opt.text) == "" {
		return fmt.Errorf("%w: expected a SELECT; --tables prints what it can read", settings.ErrUsage)
	}
	if opt.limit <= 0 {
		return fmt.Errorf("%w: --time-limit %s: expected a positive time such as 30s", settings.ErrUsage, opt.limit)
	}
	memory, err := megabytes(opt.set.Memory)
	if err != nil {
		return err
	}
	self, err := os.Executable()
	if err != nil {
		return fmt.Errorf("find this program, to run the query in a process of its own: %w", err)
	}
	worker := sandbox.Worker{Path: self, Args: []string{workerName}}
	req := sandbox.Request{Store: opt.set.Store, Data: opt.data, AsOf: opt.set.AsOf, Text: opt.text, Format: opt.set.Format,
		Threads: opt.set.Threads, MemoryMB: memory, Limit: opt.limit}
	if opt.tables {
		views, err := sandbox.List(ctx, worker, req)
		if err != nil {
			return err
		}
		return command.WriteResult(s.Out, opt.set.Out, func(w io.Writer) error { return writeViews(w, opt.set.Format, views) })
	}
	err = whole(s.Out, opt.set.Out, func(w io.Writer) error { return sandbox.Run(ctx, worker, req, w) })
	if errors.Is(err, sandbox.ErrRefused) {
		return fmt.Errorf("%w: %w", settings.ErrUsage, err)
	}
	return err
}

// whole writes a result that may break off: a file appears only when it is
// complete, and standard output gets nothing before.
func whole(stdout io.Writer, path string, write func(io.Writer) error) error {
	if path != "" && path != "-" {
		return command.WriteResult(nil, path, write)
	}
	f, err := os.CreateTemp("", "hindcheck-result-")
	if err != nil {
		return fmt.Errorf("keep the result until it is complete: %w", err)
	}
	defer func() { _ = os.Remove(f.Name()); _ = f.Close() }()
	if err := write(f); err != nil {
		return err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return err
	}
	_, err = io.Copy(stdout, f)
	return err
}

func writeViews(w io.Writer, format string, views []sandbox.View) error {
	if format == "json" {
		return command.WriteJSON(w, views)
	}
	if format == "csv" {
		fmt.Fprintln(w, "view,column,type")
		for _, v := range views {
			for _, c := range v.Columns {
				fmt.Fprintf(w, "%s,%s,\"%s\"\n", v.Name, c.Name, c.Type)
			}
		}
		return nil
	}
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for i, v := range views {
		if i > 0 {
			fmt.Fprintln(tw)
		}
		fmt.Fprintln(tw, v.Name)
		for _, c := range v.Columns {
			fmt.Fprintf(tw, "  %s\t%s\n", c.Name, c.Type)
		}
	}
	return tw.Flush()
}

func printFunctions(w io.Writer, set settings.Settings) error {
	return command.WriteResult(w, set.Out, func(w io.Writer) error {
		if set.Format == "json" {
			return command.WriteJSON(w, sandbox.Functions())
		}
		_, err := fmt.Fprintln(w, strings.Join(sandbox.Functions(), "\n"))
		return err
	})
}

// workerName as the only argument makes this program the process that a query
// runs in. It is no command: nobody calls it by hand.
const workerName = "sql-process"

// isWorker reports whether this process is to be such a process.
func isWorker(args []string) bool { return slices.Equal(args, []string{workerName}) }
