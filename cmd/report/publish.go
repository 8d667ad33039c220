package main

import (
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/progress"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/internal/version"
	"hindcheck/cmd/report/internal/disclosure"
	"hindcheck/cmd/report/internal/publish"
)

func publishCommand(s command.Streams, open opener) *cobra.Command {
	var privacy, seed, previous string
	cmd := &cobra.Command{
		Use:   "publish FOLDER",
		Short: "Write a de-identified open dataset",
		Long: `publish writes the episodes of a store to a folder that strangers may have: tables
as CSV and Parquet, a descriptor after the Data Package standard, a codebook, a
methods note, a risk report and checksums.

What an outsider may know of an animal or a call is made as coarse as it takes that
at least so many persons stand behind every combination as the privacy file says,
with the least loss of information. If that is not possible within the limits of
the file, nothing is written, the columns that are the cause are named, and the exit
status is 3. Keys are drawn at random for each release and cannot be made again.

Have the privacy file and the risk report agreed by whoever answers for the data:
local law decides, not this program.`,
		Example: `  report demo --dir demo
  report publish open --store demo/store
  report publish open --store demo/store --privacy demo/privacy.yaml
  report query flow --data open`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			cfg, err := disclosure.Read(privacy)
			if err != nil {
				return fmt.Errorf("%w: %w", settings.ErrUsage, err)
			}
			return runPublish(cmd, s, open, set, publish.Options{Dir: args[0], Config: cfg, Seed: seed, Previous: previous})
		},
	}
	settings.AddFlags(cmd.Flags(), reading...)
	cmd.Flags().StringVar(&privacy, "privacy", "", "privacy `FILE` (YAML); empty uses the built-in one for open data")
	cmd.Flags().StringVar(&previous, "previous", "", "`FOLDER` of an earlier release that others hold: how far the two can be joined is measured, and too close a release refused; one in the target folder is taken by itself")
	cmd.Flags().StringVar(&seed, "seed", "", "make the same keys again from this `TEXT`, for tests only: whoever knows it can undo the keys")
	return cmd
}

func runPublish(cmd *cobra.Command, s command.Streams, open opener, set settings.Settings, opt publish.Options) error {
	db, err := open(cmd.Context(), set)
	if err != nil {
		return err
	}
	defer db.Close()
	show := progress.New(s.Err, set.Quiet)
	defer show.Done()
	opt.Review, opt.Today, opt.Software, opt.Progress = reviewOptions(set), time.Now().UTC(), version.String(), show.Step
	r, err := publish.Write(cmd.Context(), db, opt)
	show.Done()
	var refusal *disclosure.Refusal
	var close *publish.TooClose
	if errors.As(err, &refusal) || errors.As(err, &close) {
		return fmt.Errorf("%w: %w", command.ErrGate, err)
	}
	if err != nil {
		return err
	}
	if opt.Seed != "" {
		fmt.Fprintln(s.Err, "report: the keys were made from --seed: whoever knows it can undo them, so do not give this release away")
	}
	if opt.Config.Release.LicenceName == "" {
		fmt.Fprintln(s.Remarks(set.Quiet), "report: the privacy file names no licence, so nobody may reuse the release; add one under release: licence:")
	}
	return publish.Summary(s.Out, r)
}
