package main

import (
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/progress"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/internal/version"
	"hindcheck/pipeline"
	"hindcheck/pipeline/privacy"
)

// loadFlags are the flags of load that are no settings.
type loadFlags struct {
	exportedAt string
	dryRun     bool
	source     string
}

func loadCommand(s command.Streams) *cobra.Command {
	var own loadFlags
	cmd := &cobra.Command{
		Use:   "load EXPORT...",
		Short: "Load exports into the store, wholly or not at all",
		Long: `load reads exports (files, folders or patterns) into the store; - is standard input,
which needs --source and, unless a column says it, --exported-at.

Each export is read by every source description whose file pattern fits its name.
The later export of a call replaces the earlier one, whatever the order in which
they are loaded; a file that was loaded before is passed over. Every row is
accounted for: new + superseding + unchanged + older than stored + superseded
within the load + set aside = rows read.

With --privacy, ages, weights and times are kept only as coarsely as its file says
(privacy: NAME, age_months: 12, weight_kg: 5, minutes: 60, each step optional);
that is fixed by the first load. Rules on young ages then see whole steps.

Rules, dictionary, case definition and strata are kept in the store; a later load
needs to name only those that changed, and then all cases are derived anew.`,
		Example: `  # the exports of the demonstration line, into a store of your own
  report demo --dir demo
  export HINDCHECK_KEY=$(openssl rand -hex 32)   # keep it: later loads need the same key
  ingest load --store mine --sources demo/sources --rules demo/rules.yaml demo/exports
  # one export from a pipe
  cat demo/exports/calls-2026-05*.csv | ingest load --store mine --sources demo/sources --source demo-calls --exported-at 2026-06-03 -`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			if slices.Contains(args, "-") && own.source == "" {
				return fmt.Errorf("%w: - (standard input): expected --source with the name of the description that reads it", settings.ErrUsage)
			}
			opt, err := own.options(set, args, s)
			if err != nil {
				return err
			}
			show := progress.New(s.Err, set.Quiet)
			opt.Progress, opt.Bytes = show.Step, show.Bytes
			sum, err := pipeline.Load(cmd.Context(), opt)
			show.Done()
			if err != nil {
				return err
			}
			return writeLoaded(s, set, sum)
		},
	}
	settings.AddFlags(cmd.Flags(), readingSettings...)
	cmd.Flags().StringVar(&own.exportedAt, "exported-at", "", "when the exports were written, as 2006-01-02 or 2006-01-02T15:04:05Z, where nothing else says so")
	cmd.Flags().StringVar(&own.source, "source", "", "read only with the description of this source (its source: `NAME`), whatever the exports are called")
	cmd.Flags().BoolVar(&own.dryRun, "dry-run", false, "say what would happen and change nothing")
	return cmd
}

// readingSettings are the settings of commands that read exports into a store.
var readingSettings = []string{"config", "store", "sources", "rules", "dictionary", "definition", "strata", "privacy", "key-file",
	"episode-hours", "link-hours", "threads", "format", "out"}

func writeLoaded(s command.Streams, set settings.Settings, sum *pipeline.Summary) error {
	return write(s, set, output{value: sum,
		text: func(w io.Writer) error { return writeSummary(w, set.Store, sum) },
		csv:  func(w io.Writer) error { return writeSummaryCSV(w, sum) }})
}

// options turns flags and settings into the options of a load.
func (f loadFlags) options(set settings.Settings, exports []string, s command.Streams) (pipeline.LoadOptions, error) {
	key, err := privacy.ReadKey(set.KeyFile, command.Getenv(s.Env))
	if err != nil {
		return pipeline.LoadOptions{}, err
	}
	opt := pipeline.LoadOptions{
		Store: set.Store, Exports: exports, Source: f.source, Stdin: s.In, Sources: []string{set.Sources}, Key: key,
		Files: pipeline.DefinitionFiles{Dictionary: set.Dictionary, Rules: set.Rules, CaseDefinition: set.Definition, Strata: set.Strata, Privacy: set.Privacy,
			EpisodeHours: set.EpisodeHours, LinkHours: set.LinkHours},
		Now: time.Now(), Threads: set.Threads, DryRun: f.dryRun, Software: version.String(),
	}
	if f.exportedAt == "" {
		return opt, nil
	}
	for _, layout := range []string{time.DateOnly, time.RFC3339} {
		if opt.ExportedAt, err = time.Parse(layout, f.exportedAt); err == nil {
			return opt, nil
		}
	}
	return opt, fmt.Errorf("%w: --exported-at %q: expected a date such as 2026-10-31, or with a time 2026-10-31T08:00:00Z", settings.ErrUsage, f.exportedAt)
}
