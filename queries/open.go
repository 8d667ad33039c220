package queries

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"hindcheck/pipeline"
	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/store"
)

// OpenOptions say which state of a store to show, and with what means.
type OpenOptions struct {
	// AsOf shows the store as it was after that load; 0 is the present.
	AsOf int
	// Threads and MemoryMB bound DuckDB; 0 leaves them to package duck.
	Threads, MemoryMB int
	// Definition judges by another case definition than the store's: cases are
	// derived under it, and stored_cases are those of the store.
	Definition *casedef.Definition
	// NoSpill makes a query fail that does not fit into memory, and no folder.
	NoSpill bool
}

// Open makes a database over the store in dir: views of its records and cases
// over the files that its manifest lists. Files stay until Close. An earlier
// state is put together from present and superseded rows, and its cases are
// derived again under the definitions in force.
func Open(ctx context.Context, dir string, opt OpenOptions) (*DB, error) {
	v, err := OpenViews(ctx, dir, opt)
	if err != nil {
		return nil, err
	}
	d, err := New(v.DB, v.Meta)
	if err != nil {
		return nil, errors.Join(err, v.Close())
	}
	d.close, d.stored = v.Close, v.stored
	return d, nil
}

// Views is a database with one view each of calls, checks, outcomes, coverage,
// cases and set_aside.
type Views struct {
	DB   *sql.DB
	Meta Meta
	// Files are the Parquet files that the views read, by their full paths.
	Files []string
	// stored are the files of each view with their months.
	stored map[string][]storedFile
	// Close gives back the database and the store.
	Close func() error
}

// OpenViews makes the views of Open for callers that write their own SQL.
func OpenViews(ctx context.Context, dir string, opt OpenOptions) (_ *Views, err error) {
	if dir, err = filepath.Abs(dir); err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	s, err := store.Open(dir)
	if err != nil {
		return nil, err
	}
	closers := []func() error{s.Close}
	defer func() {
		if err != nil {
			err = errors.Join(err, closeAll(closers))
		}
	}()
	last := s.Manifest.LastLoad()
	if opt.AsOf < 0 || opt.AsOf > last {
		return nil, fmt.Errorf("%w: open store %s: expected --as-of from 1 to %d, the latest load, found %d", ErrParameter, dir, last, opt.AsOf)
	}
	if opt.AsOf == 0 {
		opt.AsOf = last
	}
	defs, err := pipeline.StoredDefinitions(s)
	if err != nil {
		return nil, err
	}
	temp := ""
	if !opt.NoSpill {
		// Counting by animal over a long store may need more than memory.
		if temp, err = os.MkdirTemp("", "hindcheck-query-"); err != nil {
			return nil, fmt.Errorf("open store: %w", err)
		}
		closers = append(closers, func() error { return os.RemoveAll(temp) })
	}
	db, err := duck.Open(ctx, duck.Options{Threads: opt.Threads, MemoryMB: opt.MemoryMB, TempDir: temp})
	if err != nil {
		return nil, err
	}
	closers = append(closers, db.Close)
	if err := makeViews(ctx, db, s, defs, opt); err != nil {
		return nil, fmt.Errorf("open store %s: %w", dir, err)
	}
	if opt.Definition != nil {
		defs = under(defs, opt.Definition)
	}
	meta := metaOf(s, defs, opt.AsOf)
	if hash := s.Manifest.Definitions.Rules; hash != "" {
		if meta.RulesText, err = s.Definition(hash); err != nil {
			return nil, fmt.Errorf("open store %s: rules: %w", dir, err)
		}
	}
	return &Views{DB: db, Meta: meta, Files: filesOf(s), stored: storedFiles(s, opt.AsOf, opt.Definition == nil), Close: func() error { return closeAll(closers) }}, nil
}

// filesOf lists every file that a view may read.
func filesOf(s *store.Snapshot) []string {
	out := append(s.Paths(store.Cases, ""), s.Paths(store.Aside, "")...)
	for _, name := range resolve.Tables {
		out = append(append(out, s.Paths(store.Current, name)...), s.Paths(store.History, name)...)
	}
	return out
}

func closeAll(closers []func() error) error {
	var errs []error
	for i := len(closers) - 1; i >= 0; i-- {
		errs = append(errs, closers[i]())
	}
	return errors.Join(errs...)
}

// under is a copy of the definitions with another case definition.
func under(defs *pipeline.Definitions, other *casedef.Definition) *pipeline.Definitions {
	out := *defs
	out.CaseDef = other
	return &out
}

// makeViews makes the relations that the questions name.
func makeViews(ctx context.Context, db *sql.DB, s *store.Snapshot, defs *pipeline.Definitions, opt OpenOptions) error {
	views := map[string]string{"set_aside": resolve.AsideAsOf(s, opt.AsOf)}
	for _, name := range resolve.Tables {
		query, err := resolve.AsOf(s, name, opt.AsOf)
		if err != nil {
			return err
		}
		views[name] = query
	}
	for name, query := range views {
		if _, err := db.ExecContext(ctx, "CREATE VIEW "+name+" AS "+query); err != nil {
			return fmt.Errorf("view %s: %w", name, err)
		}
	}
	if opt.Definition == nil {
		if err := makeCases(ctx, db, "cases", s, defs, opt.AsOf); err != nil {
			return err
		}
		_, err := db.ExecContext(ctx, "CREATE VIEW stored_cases AS SELECT * FROM cases")
		return err
	}
	if err := makeCases(ctx, db, "stored_cases", s, defs, opt.AsOf); err != nil {
		return err
	}
	return deriveCases(ctx, db, "cases", under(defs, opt.Definition))
}

// makeCases makes a relation of cases: those of the store if it is shown as it
// is now.
func makeCases(ctx context.Context, db *sql.DB, name string, s *store.Snapshot, defs *pipeline.Definitions, asOf int) error {
	paths := s.Paths(store.Cases, "")
	if asOf == s.Manifest.LastLoad() && len(paths) > 0 {
		_, err := db.ExecContext(ctx, "CREATE VIEW "+name+" AS SELECT * FROM read_parquet("+duck.FileList(paths)+", hive_partitioning = false)")
		return err
	}
	return deriveCases(ctx, db, name, defs)
}

// deriveCases derives cases from the records; the store is not touched.
func deriveCases(ctx context.Context, db *sql.DB, name string, defs *pipeline.Definitions) error {
	query, err := resolve.CasesSQL(resolve.Relations{Calls: "FROM calls", Checks: "FROM checks", Outcomes: "FROM outcomes"}, defs.Settings())
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, "CREATE TABLE "+name+" AS "+query)
	return err
}

// metaOf gathers what a reader must know beside the rows.
func metaOf(s *store.Snapshot, defs *pipeline.Definitions, asOf int) Meta {
	m := Describe(defs.Dictionary, defs.Rules)
	m.Definition, m.DefinitionText, m.Window = defs.CaseDef.ID, definitionText(defs.CaseDef), defs.CaseDef.Window()
	m.Strata, m.Collapse, m.MinVerified = defs.StrataBesideLevel(), defs.Strata.Collapse, defs.Strata.MinVerified
	m.Files, m.AsOf, m.DataCut = defs.Files(), asOf, s.Manifest.DataCutAt(asOf)
	for _, e := range s.Manifest.Erasures {
		if e.AfterLoad >= asOf {
			m.Erased.Requests++
		}
	}
	for table, n := range s.Manifest.ErasedSince(asOf) {
		if table == "calls" {
			m.Erased.Calls = n
		}
		if table != "cases" { // cases are derived from the others
			m.Erased.Rows += n
		}
	}
	return m
}

// Describe gives the part of Meta that a dictionary and a rules file decide;
// set may be nil.
func Describe(dict *findings.Dictionary, set *rules.Set) Meta {
	m := Meta{RuleSet: "none recorded", Rules: set, Dictionary: dict}
	for i := range dict.Findings {
		f := &dict.Findings[i]
		one := Finding{ID: f.ID, Label: f.Title, Unit: f.Unit, Scale: int32(f.Scale)}
		if f.Kind == findings.Code {
			for _, c := range f.Codes {
				one.Codes = append(one.Codes, c.ID)
				if c.Unreadable {
					one.Unreadable = append(one.Unreadable, c.ID)
				}
			}
		}
		m.Findings = append(m.Findings, one)
	}
	if set == nil {
		return m
	}
	m.RuleSet = set.ID
	for i := range set.Flags {
		f := &set.Flags[i]
		one := Flag{ID: f.ID, Title: f.Title, Why: f.Why, Level: int8(f.Demands), RaiseUnknown: f.Raise}
		for _, c := range f.All {
			if !slices.Contains(one.Findings, c.Finding) {
				one.Findings = append(one.Findings, c.Finding)
			}
			one.Thresholds = append(one.Thresholds, thresholds(c, dict)...)
		}
		m.Flags = append(m.Flags, one)
	}
	return m
}

// thresholds are the numbers of one condition.
func thresholds(c rules.Condition, dict *findings.Dictionary) []Threshold {
	f, ok := dict.Finding(c.Finding)
	if !ok {
		return nil
	}
	var out []Threshold
	for _, b := range []rules.Bound{c.Lower, c.Upper} {
		if x, err := strconv.ParseFloat(b.Text, 64); b.Set() && err == nil {
			out = append(out, Threshold{Finding: c.Finding, Text: b.Text, Stored: math.Round(x*float64(f.Scale)*1e6) / 1e6, Inclusive: b.Inclusive})
		}
	}
	return out
}

// definitionText says a case definition in a sentence.
func definitionText(d *casedef.Definition) string {
	parts := func(list []casedef.Component) string {
		words := make([]string, len(list))
		for i, c := range list {
			words[i] = strings.ReplaceAll(string(c), "_", " ")
			if r := d.Criteria[c].Reasons; len(r) > 0 {
				words[i] += " (" + strings.Join(r, ", ") + ")"
			}
			if h := d.Criteria[c].Hours; h != 0 && h != d.WindowHours {
				words[i] += fmt.Sprintf(" within %d hours", h)
			}
		}
		return strings.Join(words, "; ")
	}
	return fmt.Sprintf("%s. Emergency, any of: %s. Same day, any of: %s. Each within %d hours of the first contact unless stated.",
		d.Title, parts(d.Emergency), parts(d.SameDay), d.WindowHours)
}
