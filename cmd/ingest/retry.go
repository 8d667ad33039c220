package main

import (
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/progress"
	"hindcheck/cmd/internal/settings"
	"hindcheck/pipeline"
	"hindcheck/pipeline/resolve"
)

func retryCommand(s command.Streams) *cobra.Command {
	var own loadFlags
	var which resolve.AsideFilter
	cmd := &cobra.Command{
		Use:   "retry EXPORT...",
		Short: "Try the refused rows again, once the description is mended",
		Long: `retry reads the refused rows once more, and only those, under the descriptions and
definitions as they are now. Cells are not kept, so name the original exports
(files, folders or patterns): they are found by the hash of their content, whatever
they are called now. An export that is gone or has changed is named, and its rows
stay set aside.

A row that fits now enters as if it had been understood when its export was loaded:
it replaces nothing newer. Checks that were refused because their call was refused
enter with it if both exports are given. A row that is still refused stays. It all
happens or none of it, and every row tried is accounted for, as in a load.`,
		Example: `  report demo --dir demo
  export HINDCHECK_KEY=$(openssl rand -hex 32)
  ingest load --store mine --sources demo/sources --rules demo/rules.yaml demo/exports
  ingest set-aside --store mine --reason unmapped_word   # then add the words to demo/sources
  ingest set-aside retry --store mine --sources demo/sources --reason unmapped_word demo/exports`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			if slices.Contains(args, "-") {
				return fmt.Errorf("%w: -: expected files, folders or patterns; a pipe cannot be searched for an export", settings.ErrUsage)
			}
			if which.Load < 0 {
				return fmt.Errorf("%w: --load: expected a number from 0, found %d", settings.ErrUsage, which.Load)
			}
			opt, err := own.options(set, args, s)
			if err != nil {
				return err
			}
			show := progress.New(s.Err, set.Quiet)
			opt.Progress, opt.Bytes = show.Step, show.Bytes
			sum, err := pipeline.Retry(cmd.Context(), opt, which)
			show.Done()
			if err != nil {
				return err
			}
			return writeLoaded(s, set, sum)
		},
	}
	settings.AddFlags(cmd.Flags(), readingSettings...)
	addAsideFilter(cmd, &which)
	cmd.Flags().BoolVar(&own.dryRun, "dry-run", false, "say what would happen and change nothing")
	return cmd
}
