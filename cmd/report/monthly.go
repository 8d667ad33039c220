package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/actions"
	"hindcheck/cmd/report/internal/archive"
	"hindcheck/cmd/report/internal/page"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/sheet"
)

// monthlyOptions are the flags of monthly that are no settings.
type monthlyOptions struct {
	month, meeting string
	// compare and baseline name periods, also and events files.
	compare, baseline, also, events string
	pdf                             bool
}

func monthlyCommand(s command.Streams, open opener) *cobra.Command {
	var opt monthlyOptions
	cmd := &cobra.Command{
		Use:   "monthly",
		Short: "The monthly review: one page to read, print and file",
		Long: `monthly reviews one month, by default the latest whose outcomes have had time to
arrive and whose feeds delivered. With --out FOLDER it writes the review as a page
(HTML, one file, readable without network or script), as JSON and as CSV, with a
summary of two sheets for the meeting, and says where; without, it prints the
review in the --format asked for. --pdf also prints page and summary with an
installed Chromium.

--compare sets a second period beside the review and --also a second case
definition on the same records; --events marks dated changes on the charts.

A written review is kept in the folder of --reviews. The next one finds it there,
says what changed since, and carries forward the actions in actions.yaml, which
people edit. Nothing asks a clock: actions are overdue by the day of --meeting, or
of the data, so the same store gives the same review again.`,
		Example: `  report demo --dir demo
  report monthly --store demo/store --out review
  report monthly --store demo/store --out review --meeting 2026-11-20
  report monthly --store demo/store --month 2026-06 --format json
  report monthly --store demo/store --out review --also demo/case_definition.yaml --month 2026-08 --compare 2025-05..2025-08`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			return runMonthly(cmd.Context(), s, open, set, opt)
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "data", "format", "out", "under-triage-limit", "over-triage-limit", "limit-source", "reviews", "actions", "browser")...)
	cmd.Flags().StringVar(&opt.month, "month", "", "`MONTH` to review, such as 2026-07; empty takes the latest mature one")
	cmd.Flags().StringVar(&opt.meeting, "meeting", "", "`DAY` of the meeting, such as 2026-11-20, by which actions are overdue; empty takes that of the data")
	cmd.Flags().StringVar(&opt.compare, "compare", "", "`PERIOD` to set beside the review: 2026-02 for the twelve months to it, or 2025-09..2026-02")
	cmd.Flags().StringVar(&opt.also, "also", "", "`FILE` with a second case definition, to judge the same records by")
	cmd.Flags().StringVar(&opt.baseline, "baseline", "", "`PERIOD` that flags are compared with; empty takes the twelve months before")
	cmd.Flags().StringVar(&opt.events, "events", "", "`FILE` of dated changes to mark on the charts: a list events of date, what and new_limits (true or false)")
	cmd.Flags().BoolVar(&opt.pdf, "pdf", false, "also print page and summary as PDF, with an installed Chromium; needs --out")
	return cmd
}

func runMonthly(ctx context.Context, s command.Streams, open opener, set settings.Settings, opt monthlyOptions) error {
	number, err := month("month", opt.month)
	if err != nil {
		return err
	}
	meeting, err := opt.check(set)
	if err != nil {
		return err
	}
	files, err := reviewPlaces(set)
	if err != nil {
		return err
	}
	db, err := open(ctx, set)
	if err != nil {
		return err
	}
	defer db.Close()
	build := reviewOptions(set)
	build.Month = number
	if build.Also, err = opt.beside(ctx, set, &build); err != nil {
		return err
	}
	if build.Also != nil {
		defer build.Also.Close()
	}
	r, err := review.Build(ctx, db, build)
	if err != nil {
		return fmt.Errorf("monthly: %w", err)
	}
	sayMissing(s.Remarks(set.Quiet), db)
	if err := files.follow(r, meeting); err != nil {
		return fmt.Errorf("monthly: %w", err)
	}
	if set.Out == "" {
		return reviewWriters[set.Format](s.Out, r)
	}
	if err := files.write(ctx, s.Out, r, opt.pdf); err != nil {
		return fmt.Errorf("monthly: %w", err)
	}
	return nil
}

// check refuses flags that do not go together and reads the day of the meeting.
func (o monthlyOptions) check(set settings.Settings) (meeting time.Time, err error) {
	if o.pdf && set.Out == "" {
		return meeting, fmt.Errorf("%w: --pdf: expected --out FOLDER beside it, since a PDF is a file", settings.ErrUsage)
	}
	if o.meeting == "" {
		return meeting, nil
	}
	if meeting, err = time.Parse(time.DateOnly, o.meeting); err != nil {
		return meeting, fmt.Errorf("%w: --meeting %q: expected a day such as 2026-11-20", settings.ErrUsage, o.meeting)
	}
	return meeting, nil
}

// places are where a review goes and where earlier ones lie.
type places struct {
	// out and reviews are folders, actions a file; empty ones are not used.
	out, reviews, actions string
	browser               string
}

// reviewPlaces reads them from the settings.
func reviewPlaces(set settings.Settings) (places, error) {
	p := places{set.Out, set.Reviews, set.Actions, set.Browser}
	if p.reviews == "" && p.out != "" {
		p.reviews = filepath.Join(p.out, archive.Folder)
	}
	for name, dir := range map[string]string{"--out": p.out, "--reviews": p.reviews} {
		if dir != "" && within(set.Store, dir) {
			return p, fmt.Errorf("%w: %s %s lies in the store, which holds nothing but its own files; name a folder outside %s", settings.ErrUsage, name, dir, set.Store)
		}
	}
	if p.actions != "" {
		if _, err := os.Stat(p.actions); err != nil {
			return p, fmt.Errorf("%w: --actions: %w", settings.ErrUsage, err)
		}
	} else if p.reviews != "" {
		p.actions = filepath.Join(p.reviews, archive.ActionsFile)
	}
	return p, nil
}

// within reports whether dir is store or lies in it.
func within(store, dir string) bool {
	a, errA := filepath.Abs(store)
	b, errB := filepath.Abs(dir)
	if errA != nil || errB != nil {
		return false
	}
	rel, err := filepath.Rel(a, b)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}

// follow sets the review beside the last one on file and the actions.
func (p places) follow(r *review.Review, meeting time.Time) error {
	if p.reviews == "" && p.actions == "" {
		return nil
	}
	last, err := archive.Last(p.reviews, r.Period.Month, r.AsOf.Load)
	if err != nil {
		return err
	}
	list, err := actions.Read(p.actions)
	if err != nil {
		return err
	}
	review.Follow(r, last, list, meeting)
	return nil
}

// reviewWriters by format; settings.Load allows no other.
var reviewWriters = map[string]func(io.Writer, *review.Review) error{
	"text": page.Text,
	"csv":  page.CSV,
	"html": page.HTML,
	"json": func(w io.Writer, r *review.Review) error { return command.WriteJSON(w, r) },
}

// write writes all forms of a review, keeps it for later ones, and says where
// everything lies.
func (p places) write(ctx context.Context, stdout io.Writer, r *review.Review, pdf bool) error {
	if err := os.MkdirAll(p.out, 0o755); err != nil {
		return err
	}
	lines := []string{r.Conclusion.Headline}
	at := func(name, suffix string) string { return filepath.Join(p.out, name+"-"+r.Period.Month+suffix) }
	made := writtenOf(r)
	var work []func() error
	for _, f := range []struct {
		path  string
		write func(io.Writer) error
	}{
		{at("review", ".html"), writer(made.html)}, {at("review", ".json"), writer(made.json)},
		{at("review", ".csv"), func(w io.Writer) error { return page.CSV(w, r) }},
		{at("summary", ".html"), func(w io.Writer) error { return page.Summary(w, r) }},
	} {
		work = append(work, func() error { return command.WriteResult(nil, f.path, f.write) })
		lines = append(lines, f.path)
	}
	if err := sideBySide(append(work, func() error { return p.keep(r, made) })...); err != nil {
		return err
	}
	if err := actions.Start(p.actions); err != nil {
		return err
	}
	if pdf {
		for _, name := range []string{"review", "summary"} {
			opt := sheet.PrintOptions{Browser: p.browser, Made: r.AsOf.DataCut}
			if err := sheet.Print(ctx, at(name, ".html"), at(name, ".pdf"), opt); err != nil {
				return fmt.Errorf("%w (page, JSON and CSV are written)", err)
			}
			lines = append(lines, at(name, ".pdf"))
		}
	}
	// Only now: a reader of the output may go away, and the files must stand.
	_, err := fmt.Fprintln(stdout, strings.Join(lines, "\n"))
	return err
}

// keep puts a review into the archive.
func (p places) keep(r *review.Review, made written) error {
	return archive.Keep(p.reviews, r.Period.Month, r.AsOf.Load, writer(made.json), writer(made.html))
}
