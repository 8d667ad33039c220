package queries

import (
	"database/sql"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"hindcheck/pipeline"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
)

// Flag is one flag of the rules file in force when cases were derived. Its
// place in Meta.Flags is its bit.
type Flag struct {
	ID string `json:"id"`
	// Title and Why are the rules file's own words.
	Title string `json:"title"`
	Why   string `json:"why"`
	// Level is the level that the flag demands, 1 (home care) to 4 (emergency).
	Level int8 `json:"level"`
	// RaiseUnknown is whether an unknown flag counts its level.
	RaiseUnknown bool `json:"raise_unknown"`
	// Findings are the ids of the findings that its conditions read.
	Findings []string `json:"findings"`
	// Thresholds are the numbers at which its conditions split readings.
	Thresholds []Threshold `json:"thresholds"`
}

// Threshold is one number of a rule.
type Threshold struct {
	Finding string `json:"finding"`
	// Text is the number as the rules file writes it, in the finding's unit;
	// Stored is the number times the finding's scale.
	Text   string  `json:"text"`
	Stored float64 `json:"stored"`
	// Inclusive is whether a reading equal to it meets the condition.
	Inclusive bool `json:"inclusive"`
}

// Finding is one finding of the dictionary in force; cases holds its reading
// in column f_<ID>.
type Finding struct {
	ID    string `json:"id"`
	Label string `json:"label"`
	// Codes are the words of a coded finding; the stored number is the place
	// counted from 1. Empty for a numeric finding.
	Codes []string `json:"codes,omitempty"`
	// Unreadable are words of Codes that say the answer cannot be told.
	Unreadable []string `json:"unreadable,omitempty"`
	// Unit and Scale belong to a numeric finding: stored = value * Scale.
	Unit  string `json:"unit,omitempty"`
	Scale int32  `json:"scale,omitempty"`
}

// Erased counts removals of all records of an animal or owner on request: how
// many there were, the calls and all rows that went, superseded ones included.
type Erased struct {
	Requests int   `json:"requests"`
	Calls    int64 `json:"calls"`
	Rows     int64 `json:"rows"`
}

// Numeric reports whether the finding is a number with a unit.
func (f Finding) Numeric() bool { return len(f.Codes) == 0 }

// Meta is what a reader must know about a snapshot beside its rows.
type Meta struct {
	Flags    []Flag    `json:"flags"`
	Findings []Finding `json:"findings"`
	// RuleSet names the rules file in force, as id and version.
	RuleSet string `json:"ruleset"`
	// Rules is that file as the store keeps it and Dictionary the findings
	// dictionary, for questions about other rules; nil where there is none.
	Rules      *rules.Set           `json:"-"`
	Dictionary *findings.Dictionary `json:"-"`
	// RulesText is the rules file as it was written, for a new version of it.
	RulesText []byte `json:"-"`
	// Definition names the case definition in force and DefinitionText says it
	// in words.
	Definition     string `json:"case_definition"`
	DefinitionText string `json:"definition_text"`
	// Files are the definitions word for word, with their hashes.
	Files []pipeline.DefinitionText `json:"-"`
	// Window is the time after the first contact within which an outcome counts.
	Window time.Duration `json:"window_ns"`
	// Strata are the recorded properties beside the level by which
	// verification is corrected; Collapse lists those that may be given up,
	// the first to go first, where fewer than MinVerified were followed up.
	Strata      []string `json:"strata"`
	Collapse    []string `json:"collapse"`
	MinVerified int      `json:"min_verified"`
	// AsOf is the load that is shown, DataCut the moment up to which its
	// exports were written.
	AsOf    int       `json:"as_of"`
	DataCut time.Time `json:"data_cut"`
	// Erased counts what was removed on request from the state shown, since it
	// was recorded.
	Erased Erased `json:"erased,omitzero"`
	// Withheld says, by question or by "cluster NAME", why a published dataset
	// cannot answer; empty for a store.
	Withheld map[string]string `json:"withheld,omitempty"`
}

// StrataColumns are the columns of cases that may be a stratum: what is known
// when the advice is given.
var StrataColumns = []string{"site", "species", "breed_group", "sex", "neutered", "complaint", "ruleset", "month", "weekday"}

// ClusterColumns are the columns of cases that may be a cluster.
var ClusterColumns = []string{"animal", "owner", "advisor", "practice"}

// DB answers questions about one snapshot.
type DB struct {
	db    *sql.DB
	meta  Meta
	close func() error
	// published is whether the rows come from a published dataset; missing are
	// the questions that it could not answer.
	published bool
	mu        sync.Mutex
	tables    atomic.Int64 // names of tables that are made
	missing   []string
	// kept are the tables of episodes that are alike; keeping serialises Keep.
	kept    []kept
	keeping sync.Mutex
	// long is whether the line has more episodes than Keep reads into memory, held
	// whether it has read them.
	long, held bool
	// walked are the counts of checks, by months; walking serialises walk.
	walked  map[[2]int]*walked
	walking sync.Mutex
	// walkedCases and walkingCases are the same of cases.
	walkedCases  map[casesOf]*walkedCases
	walkingCases sync.Mutex
	// stored are the files behind each view; see ofMonths.
	stored map[string][]storedFile
}

// New takes a database that already has tables or views named calls, checks,
// outcomes, coverage, cases and set_aside. The caller keeps closing it.
func New(db *sql.DB, meta Meta) (*DB, error) {
	for _, s := range meta.Strata {
		if !slices.Contains(StrataColumns, s) {
			return nil, fmt.Errorf("stratum %q: expected one of %v", s, StrataColumns)
		}
	}
	for _, s := range meta.Collapse {
		if !slices.Contains(meta.Strata, s) {
			return nil, fmt.Errorf("stratum %q to give up: expected one of %v", s, meta.Strata)
		}
	}
	if meta.MinVerified == 0 {
		meta.MinVerified = 10
	}
	return &DB{db: db, meta: meta, close: func() error { return nil }}, nil
}

// Meta returns what the database is about.
func (d *DB) Meta() Meta { return d.meta }

// SQL gives the database itself, for package release: it prepares rows for
// publication, and rows are no answer to a question.
func (d *DB) SQL() *sql.DB { return d.db }

// FlagColumns gives for each flag, in order, an SQL expression on cases: present,
// absent, or the state that makes it unknown, as flag_not_assessed names it.
func (d *DB) FlagColumns() []string {
	out := make([]string, len(d.meta.Flags))
	for i, f := range d.flagList() {
		out[i] = "CASE WHEN " + f.Present + " THEN 'present' WHEN NOT (" + f.Unknown + ") THEN 'absent' ELSE " + f.State + " END"
	}
	return out
}

// Close releases what Open took.
func (d *DB) Close() error { return d.close() }

// Scope selects episodes by the month of their first contact (UTC, yyyymm),
// From and To included.
type Scope struct {
	From, To int
	// MatureBefore splits episodes: one whose first contact is earlier is
	// mature, its outcomes had time to arrive. The zero time makes none mature.
	MatureBefore time.Time
}

func (s Scope) args() map[string]any {
	return map[string]any{"from_month": s.From, "to_month": s.To, "mature_before": s.MatureBefore.UTC()}
}
