package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/progress"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/internal/version"
	"hindcheck/cmd/report/internal/archive"
	"hindcheck/cmd/report/internal/demoline"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/datasets/demo"
	"hindcheck/queries"
)

func demoCommand(s command.Streams, open opener) *cobra.Command {
	opt := demoline.Options{}
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Set up an invented advice line, load it, and write its review",
		Long: `demo invents an advice line with three sites and eighteen months of calls, writes
its exports as a call system and the practices would, loads them through the same
code as ingest load, and writes the review of the latest mature month. The folder
then holds exports, source descriptions, an example rules file and the store, to
try the other commands on. Everything is invented; the rules are not for use on
animals. Running it again replaces the folder.`,
		Example: `  report demo
  report demo --dir line --seed 7`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			if opt.Calls < 0 {
				return fmt.Errorf("%w: --calls %d: expected a number above 0", settings.ErrUsage, opt.Calls)
			}
			return runDemo(cmd, s, open, set, opt)
		},
	}
	settings.AddFlags(cmd.Flags(), "config", "threads")
	cmd.Flags().StringVar(&opt.Dir, "dir", "hindcheck-demo", "`FOLDER` to write to; it is replaced if this command made it")
	cmd.Flags().Uint64Var(&opt.Seed, "seed", 1, "the line to invent; the same `NUMBER` gives the same line")
	cmd.Flags().IntVar(&opt.Calls, "calls", 24000, "about how many calls to invent")
	return cmd
}

func runDemo(cmd *cobra.Command, s command.Streams, open opener, set settings.Settings, opt demoline.Options) error {
	show := progress.New(s.Err, set.Quiet)
	defer show.Done()
	opt.Threads, opt.Software, opt.Progress = set.Threads, version.String(), show.Step
	sum, err := demoline.Make(cmd.Context(), opt)
	if err != nil {
		return err
	}
	set.Store = demoline.Store(opt.Dir)
	db, err := open(cmd.Context(), set)
	if err != nil {
		return err
	}
	defer db.Close()
	files := places{out: filepath.Join(opt.Dir, "review"), reviews: filepath.Join(opt.Dir, archive.Folder), actions: filepath.Join(opt.Dir, archive.Folder, archive.ActionsFile)}
	show.Step("write the reviews", 0)
	r, err := demoReviews(cmd.Context(), db, set, files)
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	show.Done()
	fmt.Fprintf(s.Out, "an invented line: %d rows read, %d set aside with their reasons\n", sum.Sums.Rows, sum.Sums.SetAside)
	if err := files.write(cmd.Context(), s.Out, r, false); err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	path, err := filepath.Abs(filepath.Join(opt.Dir, "review", "review-"+r.Period.Month+".html"))
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.Out, "open in a browser: %s\n", path)
	return err
}

// demoReviews makes the review of the month before, as a meeting would have
// filed it, and then the one to read, so that a comparison is seen.
func demoReviews(ctx context.Context, db *queries.DB, set settings.Settings, files places) (*review.Review, error) {
	opt := reviewOptions(set)
	scope, err := review.DefaultPeriod(ctx, db, opt)
	if err != nil {
		return nil, err
	}
	var now *review.Review
	// Side by side, since each has stretches in which it uses one processor.
	err = sideBySide(func() error { return files.fileBefore(ctx, db, opt, queries.AddMonths(scope.To, -1)) }, func() (err error) {
		now, err = review.Build(ctx, db, opt)
		return err
	})
	if err != nil {
		return nil, err
	}
	return now, errors.Join(writeFile(files.actions, demo.Actions), files.follow(now, time.Time{}))
}

// fileBefore files the review of an earlier month and what was agreed on it.
func (p places) fileBefore(ctx context.Context, db *queries.DB, opt review.Options, month int) error {
	opt.Month = month
	r, err := review.Build(ctx, db, opt)
	if err != nil {
		return err
	}
	return errors.Join(writeFile(p.actions, demo.ActionsBefore), p.follow(r, time.Time{}), p.keep(r, writtenOf(r)))
}

func writeFile(path string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, data, 0o644)
}
