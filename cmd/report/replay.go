package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/page"
	"hindcheck/cmd/report/internal/replay"
	"hindcheck/cmd/report/internal/sheet"
	"hindcheck/pipeline/criteria"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

// replayOptions are what report replay was asked.
type replayOptions struct {
	set                                       settings.Settings
	proposed, current, criteria, appointments string
	from, to                                  int
	gate, pdf                                 bool
	listed                                    int
}

func replayCommand(s command.Streams, open opener) *cobra.Command {
	opt := replayOptions{}
	var from, to string
	cmd := &cobra.Command{
		Use:   "replay",
		Short: "What a proposed change of rules would have done to past calls, and a record of the decision",
		Long: `replay evaluates a proposed rules file on the calls of the store beside the rules in
force (or --current) and says which calls would have been advised differently, which
animals in need would newly be sent in and which newly missed, what that costs in
needless visits, and whether any species, age band or site pays for it. Every newly
missed animal is listed, however good the average.

With --criteria it judges the proposal by criteria that were fixed beforehand: met,
not met, or cannot tell, with how many more months would settle it. --gate turns the
answer into an exit status: 0 if all criteria are met, 3 if not or if the records
cannot tell, so that a rules repository can run it as a check. With --out FOLDER it
writes the record of the change as a page to sign (HTML, and PDF with --pdf) and as
JSON; the same store and files give the same bytes.

Nothing is applied by itself: a licensed veterinary professional decides.`,
		Example: `  report demo --dir demo
  report replay --store demo/store --proposed demo/proposals/cat_breathing.yaml
  report replay --store demo/store --proposed demo/proposals/cat_breathing.yaml --criteria demo/criteria.yaml --appointments demo/appointments.yaml --out demo/change
  report replay --store demo/store --proposed demo/proposals/after_stress.yaml --criteria demo/criteria.yaml --format json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := settings.Load(cmd.Flags(), s.Env)
			if err != nil {
				return err
			}
			opt.set = set
			if opt.from, err = month("from", from); err != nil {
				return err
			}
			if opt.to, err = month("to", to); err != nil {
				return err
			}
			if err := opt.check(); err != nil {
				return err
			}
			return runReplay(cmd.Context(), s, open, opt)
		},
	}
	settings.AddFlags(cmd.Flags(), append(reading, "format", "out", "dictionary")...)
	f := cmd.Flags()
	f.StringVar(&opt.proposed, "proposed", "", "rules `FILE` that is proposed")
	f.StringVar(&opt.current, "current", "", "rules `FILE` to compare with; empty takes the rules in force of the store")
	f.StringVar(&opt.criteria, "criteria", "", "`FILE` with criteria fixed beforehand")
	f.StringVar(&opt.appointments, "appointments", "", "`FILE` with the appointments that each site says it has")
	f.BoolVar(&opt.gate, "gate", false, "exit with status 3 unless all criteria are met")
	f.BoolVar(&opt.pdf, "pdf", false, "with --out, print the page to PDF too; needs Chromium")
	f.StringVar(&from, "from", "", "first `MONTH` of the period, such as 2026-01; empty is eleven months before the last")
	f.StringVar(&to, "to", "", "last `MONTH` of the period; empty is the latest mature one")
	f.IntVar(&opt.listed, "list", 25, "`NUMBER` of cases to list of each kind; the newly missed are always all listed")
	return cmd
}

func (o replayOptions) check() error {
	switch {
	case o.proposed == "":
		return fmt.Errorf("%w: --proposed is missing: name the rules file to replay", settings.ErrUsage)
	case o.gate && o.criteria == "":
		return fmt.Errorf("%w: --gate needs --criteria: a gate opens by criteria that were fixed beforehand", settings.ErrUsage)
	case o.pdf && o.set.Out == "":
		return fmt.Errorf("%w: --pdf needs --out: name the folder that takes the record", settings.ErrUsage)
	case o.listed < 1:
		return fmt.Errorf("%w: --list %d: expected a number above 0", settings.ErrUsage, o.listed)
	}
	return oneOfFormats(o.set.Format, "text", "csv", "json", "html")
}

func runReplay(ctx context.Context, s command.Streams, open opener, opt replayOptions) error {
	in, err := opt.files()
	if err != nil {
		return err
	}
	db, err := open(ctx, opt.set)
	if err != nil {
		return err
	}
	defer db.Close()
	if err := opt.programs(db, &in); err != nil {
		return err
	}
	r, err := replay.Build(ctx, db, in)
	if err != nil {
		return blame(fmt.Errorf("replay: %w", err))
	}
	if opt.set.Out != "" {
		err = writeRecord(ctx, s.Out, opt, r)
	} else {
		err = replayWriters[opt.set.Format](s.Out, r)
	}
	if err == nil && opt.gate && r.Verdict.Answer != replay.Met {
		err = fmt.Errorf("%w: %s", command.ErrGate, r.Verdict.Headline)
	}
	return err
}

// files reads the criteria and appointments before a store is opened for them.
func (o replayOptions) files() (in replay.Options, err error) {
	in = replay.Options{Review: reviewOptions(o.set), From: o.from, To: o.to, Listed: o.listed}
	if o.criteria != "" {
		if in.Criteria, err = criteria.Load(o.criteria); err != nil {
			return in, fmt.Errorf("criteria: %w", err)
		}
	}
	if o.appointments != "" {
		if in.Appointments, err = criteria.LoadAppointments(o.appointments); err != nil {
			return in, fmt.Errorf("appointments: %w", err)
		}
	}
	return in, nil
}

// programs compiles both rules files under the dictionary of the store, or under
// one that adds to it.
func (o replayOptions) programs(db *queries.DB, in *replay.Options) error {
	dict := db.Meta().Dictionary
	if o.set.Dictionary != "" {
		text, err := os.ReadFile(o.set.Dictionary)
		if err != nil {
			return fmt.Errorf("dictionary: %w", err)
		}
		if dict, err = findings.ParseOrExtend(o.set.Dictionary, text); err != nil {
			return fmt.Errorf("dictionary: %w", err)
		}
	}
	for _, x := range []struct {
		what, path string
		into       **rules.Program
	}{{"proposed rules", o.proposed, &in.Proposed}, {"current rules", o.current, &in.Current}} {
		if x.path == "" {
			continue
		}
		set, err := rules.Load(x.path)
		if err != nil {
			return fmt.Errorf("%s: %w", x.what, err)
		}
		if *x.into, err = rules.Compile(set, dict); err != nil {
			return fmt.Errorf("%s: %w\na question that was never asked belongs into a dictionary of its own: name it with --dictionary", x.what, err)
		}
	}
	return nil
}

// replayWriters by format.
var replayWriters = map[string]func(io.Writer, *replay.Report) error{
	"text": page.ReplayText,
	"csv":  page.ReplayCSV,
	"html": page.ReplayHTML,
	"json": func(w io.Writer, r *replay.Report) error { return command.WriteJSON(w, r) },
}

// writeRecord writes the record of a change into a folder and says where.
func writeRecord(ctx context.Context, stdout io.Writer, opt replayOptions, r *replay.Report) error {
	dir := opt.set.Out
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("replay: %w", err)
	}
	stem := filepath.Join(dir, "change-"+r.Record.Proposed.ID)
	lines := []string{}
	if r.Verdict != nil {
		lines = append(lines, r.Verdict.Headline)
	}
	for _, format := range []string{"html", "json", "csv"} {
		path := stem + "." + format
		if err := command.WriteResult(nil, path, func(w io.Writer) error { return replayWriters[format](w, r) }); err != nil {
			return fmt.Errorf("replay: %w", err)
		}
		lines = append(lines, path)
	}
	if opt.pdf {
		if err := sheet.Print(ctx, stem+".html", stem+".pdf", sheet.PrintOptions{Made: r.Record.DataCut}); err != nil {
			return fmt.Errorf("replay: %w", err)
		}
		lines = append(lines, stem+".pdf")
	}
	for _, l := range lines {
		if _, err := fmt.Fprintln(stdout, l); err != nil {
			return err
		}
	}
	return nil
}
