package review

import (
	"fmt"
	"strconv"
)

// Basis is under which words, rules and settings the figures stand.
type Basis struct {
	// Software names the program's version.
	Software string `json:"software"`
	// Files are the definitions in force.
	Files []DefinitionFile `json:"files"`
}

// DefinitionFile is one definition: dictionary, rules, case definition, strata.
type DefinitionFile struct {
	Kind string `json:"kind"`
	ID   string `json:"id"`
	// Hash is the SHA-256 of the file in hex.
	Hash string `json:"hash"`
	// BuiltIn is whether the line has no file of its own.
	BuiltIn bool `json:"built_in"`
	// Text is the file in full; it is kept for the case definition and the
	// strata, by which figures are computed, and empty for the others.
	Text string `json:"text"`
}

func (b *builder) fillBasis(r *Review) error {
	r.Basis = Basis{Software: b.opt.Software, Files: []DefinitionFile{}}
	for _, f := range b.db.Meta().Files {
		d := DefinitionFile{Kind: f.Kind, ID: f.ID, Hash: f.Hash, BuiltIn: f.BuiltIn}
		if f.Kind == "case definition" || f.Kind == "strata" {
			d.Text = f.Text
		}
		r.Basis.Files = append(r.Basis.Files, d)
	}
	return nil
}

// term is one thing on which figures rest, as text that compares.
type term struct {
	name, value string
	// breaks is whether figures under another value cannot be compared.
	breaks bool
}

// terms lists what a review rests on, in the order of the page.
func (r *Review) terms() []term {
	s := r.Standard
	number := func(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }
	out := []term{
		{"case definition", r.CaseDefinition + ": " + r.DefinitionText, true},
		{"window, hours", number(s.WindowHours), true},
		{"time until an episode is mature, days", number(s.LagDays), true},
		{"confidence of the limits", percent(s.Confidence), true},
		{"least number followed up in a stratum", strconv.Itoa(s.MinVerified), true},
		{"draws of the simulation", fmt.Sprintf("%d, seed %d", s.Draws, s.Seed), false},
		{"limit of under-triage", percent(s.UnderLimit), false},
		{"limit of over-triage", percent(s.OverLimit), false},
		{"rules", r.RuleSet, false},
		{"software", r.Basis.Software, false},
	}
	for _, f := range r.Basis.Files {
		out = append(out, term{"file of " + f.Kind, f.ID + ", " + short(f.Hash), f.Kind == "strata"})
	}
	return out
}

// short is the beginning of a hash, enough for people to compare.
func short(hash string) string { return hash[:min(12, len(hash))] }
