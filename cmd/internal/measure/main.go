// Command measure runs every measurement that compares hindcheck with what a
// user would otherwise use, and prints one table: the work, our time, the
// other's, their ratio, the goal and whether it was met.
//
//	go run ./cmd/internal/measure                     # small, some minutes
//	go run ./cmd/internal/measure --full --dir DIR    # the sizes of the goals, hours
//	go run ./cmd/internal/measure --full --only load,replay
//
// Each measurement is a benchmark or test beside the code it measures, and can
// be run by itself; the program says how on standard error. Both sides run in
// one process run, take turns at going first, and must come to the same result:
// a difference fails the benchmark and the program (status 1). A goal that is
// not met is printed as such and is no failure. What needs pandas or R is
// skipped where these are missing.
//
//  1. works.go lists the measurements at both sizes, and the lines each gives.
//  2. run.go runs one and reads what the benchmark reports.
//  3. table.go writes the lines as text or Markdown, machine.go names the machine.
//
// It leaves the measuring to the benchmarks.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	code := Run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// Run measures what args ask for and returns the exit status: 0 done, 1 a
// measurement failed, 2 wrong usage.
func Run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	opt, err := parseFlags(args, stderr)
	if errors.Is(err, flag.ErrHelp) {
		return 0
	}
	if err != nil {
		fmt.Fprintln(stderr, "measure:", err)
		return 2
	}
	failed, err := measure(ctx, opt, stdout, stderr)
	if err != nil {
		fmt.Fprintln(stderr, "measure:", err)
		return 1
	}
	if failed {
		return 1
	}
	return 0
}

// options are what the flags ask for.
type options struct {
	size     size
	only     []string
	dir      string
	markdown bool
}

func parseFlags(args []string, stderr io.Writer) (options, error) {
	f := flag.NewFlagSet("measure", flag.ContinueOnError)
	f.SetOutput(stderr)
	var names []string
	for _, w := range works {
		names = append(names, w.name)
	}
	full := f.Bool("full", false, "the sizes of the goals, which takes hours, 25 GB of disk and 12 GB of memory")
	only := f.String("only", "", "just these, with commas between them: "+strings.Join(names, ", ")+" (hundred, 100 million calls with --full, only if named)")
	dir := f.String("dir", "", "folder that keeps invented data for the next run; none throws them away")
	markdown := f.Bool("markdown", false, "write the table as Markdown")
	if err := f.Parse(args); err != nil {
		return options{}, err
	}
	if f.NArg() > 0 {
		return options{}, fmt.Errorf("expected flags only, found %q; see --help", f.Arg(0))
	}
	opt := options{dir: *dir, markdown: *markdown}
	if *full {
		opt.size = fullSize
	}
	for _, name := range strings.FieldsFunc(*only, func(r rune) bool { return r == ',' }) {
		if !slices.Contains(names, name) {
			return options{}, fmt.Errorf("--only %s: expected one of %s", name, strings.Join(names, ", "))
		}
		opt.only = append(opt.only, name)
	}
	return opt, nil
}

// measure runs the works in turn and prints the table; failed says that a
// measurement did not end or that its two sides differed.
func measure(ctx context.Context, opt options, stdout, stderr io.Writer) (failed bool, err error) {
	root, err := moduleRoot(ctx)
	if err != nil {
		return false, err
	}
	dir := opt.dir
	if dir == "" {
		if dir, err = os.MkdirTemp("", "hindcheck-measure-"); err != nil {
			return false, err
		}
		defer os.RemoveAll(dir)
	} else if err := os.MkdirAll(dir, 0o755); err != nil {
		return false, err
	}
	r := runner{root: root, dir: dir, size: opt.size, progress: stderr}
	var rows []row
	for _, w := range works {
		if named := slices.Contains(opt.only, w.name); !named && (w.named || len(opt.only) > 0) {
			continue
		}
		if ctx.Err() != nil {
			return true, ctx.Err()
		}
		got := r.run(ctx, w)
		failed = failed || slices.ContainsFunc(got, func(r row) bool { return r.state == stateFailed })
		rows = append(rows, got...)
	}
	about := describeMachine(ctx)
	if opt.size != fullSize {
		about = append(about, "small sizes, at which fixed costs weigh more: the goals are for those of --full")
	}
	return failed, writeTable(stdout, about, rows, opt.markdown)
}
