package replay

import (
	"fmt"
	"path/filepath"
	"time"

	"hindcheck/pipeline/rules"
)

// Record says who proposed what and why, and on what data and definitions the
// results rest.
type Record struct {
	Proposed RuleFile `json:"proposed"`
	Current  RuleFile `json:"current"`
	// Changes are the differences of the two in words.
	Changes []Change `json:"changes"`
	// Load and DataCut say which state of the store was read.
	Load    int       `json:"load"`
	DataCut time.Time `json:"data_cut"`
	// Definition, Dictionary and Strata are those of the store.
	Definition     Source       `json:"definition"`
	DefinitionText string       `json:"definition_text"`
	Dictionary     Source       `json:"dictionary"`
	Strata         Source       `json:"strata"`
	Criteria       *CriteriaRef `json:"criteria,omitempty"`
	Appointments   *Source      `json:"appointments,omitempty"`
	// Warnings are what a reader of the dossier must know about how it came about.
	Warnings []string `json:"warnings"`
}

// Source is a file by its identifier and the SHA-256 of what it says.
type Source struct {
	ID     string `json:"id"`
	SHA256 string `json:"sha256"`
}

// RuleFile is one rules file.
type RuleFile struct {
	Source
	// File is its name without folder, empty for the rules in force.
	File      string `json:"file,omitempty"`
	Title     string `json:"title"`
	Owner     string `json:"owner"`
	Reason    string `json:"reason"`
	Status    string `json:"status"`
	Effective string `json:"effective"`
	Expires   string `json:"expires,omitempty"`
	Flags     int    `json:"flags"`
}

// CriteriaRef is a criteria file; the hash leaves out the reviewed cases.
type CriteriaRef struct {
	Source
	Title   string `json:"title"`
	Owner   string `json:"owner"`
	Reason  string `json:"reason"`
	FixedOn string `json:"fixed_on"`
	Judged  string `json:"judged"`
}

// Change is one difference in words.
type Change struct {
	// Flag is empty for the set as a whole.
	Flag   string `json:"flag,omitempty"`
	Text   string `json:"text"`
	Effect string `json:"effect"`
	// From and To are the levels demanded, empty where the flag does not exist.
	From string `json:"from,omitempty"`
	To   string `json:"to,omitempty"`
}

func ruleFile(s *rules.Set, file string) RuleFile {
	f := RuleFile{Source: Source{s.ID, s.Hash()}, Title: s.Title, Owner: s.Owner, Reason: s.Reason, Status: s.Status,
		Effective: s.Effective.Format(time.DateOnly), Flags: len(s.Flags)}
	if file != "" {
		f.File = filepath.Base(file)
	}
	if !s.Expires.IsZero() {
		f.Expires = s.Expires.Format(time.DateOnly)
	}
	return f
}

func (b *builder) record() (Record, error) {
	meta, proposed := b.db.Meta(), b.opt.Proposed
	r := Record{
		Proposed: ruleFile(proposed.Set, proposed.Set.File), Current: ruleFile(b.oldSet, ""), Changes: []Change{}, Load: meta.AsOf, DataCut: meta.DataCut.UTC(),
		Definition: b.stored("case definition"), DefinitionText: meta.DefinitionText, Dictionary: Source{proposed.Dict.ID, proposed.Dict.Hash()},
		Strata: b.stored("strata"), Warnings: []string{},
	}
	if b.opt.Current != nil {
		r.Current.File = filepath.Base(b.oldSet.File)
	}
	for _, c := range rules.DiffIn(b.oldSet, proposed.Set, proposed.Dict) {
		r.Changes = append(r.Changes, Change{Flag: c.Flag, Text: c.Text, Effect: c.Effect.String(), From: c.From.String(), To: c.To.String()})
	}
	if len(r.Changes) == 0 {
		r.Warnings = append(r.Warnings, "The proposal says the same as the rules that it is compared with.")
	}
	if r.Proposed.ID == r.Current.ID && r.Proposed.SHA256 != r.Current.SHA256 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("The proposal bears the identifier %s of the rules that it is compared with; give it one of its own before it comes into force.", r.Current.ID))
	}
	if a := b.opt.Appointments; a != nil {
		r.Appointments = &Source{a.ID, a.Hash()}
	}
	return r, b.criteriaRecord(&r)
}

// stored is a definition of the store by the kind under which it was read.
func (b *builder) stored(kind string) Source {
	for _, f := range b.db.Meta().Files {
		if f.Kind == kind {
			return Source{f.ID, f.Hash}
		}
	}
	return Source{ID: "not on record"}
}

// criteriaRecord notes by what is judged, and whether it was fixed in time.
func (b *builder) criteriaRecord(r *Record) error {
	c := b.opt.Criteria
	if c == nil {
		return nil
	}
	if c.Ruleset != "" && c.Ruleset != r.Proposed.ID {
		return blame("criteria %s are for the ruleset %s, and the proposal is %s; name the right file", c.ID, c.Ruleset, r.Proposed.ID)
	}
	r.Criteria = &CriteriaRef{Source{c.ID, c.Hash()}, c.Title, c.Owner, c.Reason, c.FixedOn.Format(time.DateOnly), c.Judged}
	if c.FixedOn.After(r.DataCut) {
		r.Warnings = append(r.Warnings, fmt.Sprintf("The criteria were fixed on %s, after the data up to %s had been delivered: whoever fixed them could know the result.",
			c.FixedOn.Format("2 January 2006"), r.DataCut.Format("2 January 2006")))
	}
	if c.RulesHash != "" && c.RulesHash != r.Proposed.SHA256 {
		r.Warnings = append(r.Warnings, "The proposal is not the one for which the criteria were fixed: it has changed since (its hash differs).")
	}
	return nil
}
