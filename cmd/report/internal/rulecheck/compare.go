package rulecheck

import (
	"fmt"

	"hindcheck/cmd/report/internal/caution"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
)

// Comparison is everything that report rules diff says about two files.
type Comparison struct {
	Format   int      `json:"format"`
	Old      Version  `json:"old"`
	New      Version  `json:"new"`
	Changes  []Change `json:"changes"`
	Cautions []string `json:"cautions"`
}

// Version is one of the two files.
type Version struct {
	File    string `json:"file"`
	RuleSet string `json:"ruleset"`
	Hash    string `json:"hash"`
	Flags   int    `json:"flags"`
}

// Change is one difference.
type Change struct {
	// Flag is empty for the set as a whole; Part is the key of the file or the
	// finding that changed.
	Flag string `json:"flag,omitempty"`
	Part string `json:"part"`
	Text string `json:"text"`
	// Fires is as_before, more, fewer, other or unclear, for the flag as a whole.
	Fires string `json:"fires"`
	// From and To are the levels demanded before and after, empty where the
	// flag does not exist.
	From string `json:"demands_from,omitempty"`
	To   string `json:"demands_to,omitempty"`
}

var effects = map[rules.Effect]string{rules.Same: "as_before", rules.More: "more", rules.Fewer: "fewer", rules.Other: "other", rules.Unclear: "unclear"}

// Compare reads two rules files and lists what changed from one to the other.
// An error names every mistake in them.
func Compare(old, new string, d *findings.Dictionary) (*Comparison, error) {
	a, err := rules.Load(old)
	if err != nil {
		return nil, fmt.Errorf("compare rules: %w", err)
	}
	b, err := rules.Load(new)
	if err != nil {
		return nil, fmt.Errorf("compare rules: %w", err)
	}
	c := &Comparison{Format: Format, Old: version(old, a), New: version(new, b), Changes: []Change{}, Cautions: caution.Lines}
	for _, ch := range rules.DiffIn(a, b, d) {
		one := Change{Flag: ch.Flag, Part: ch.Part, Text: ch.Text, Fires: effects[ch.Effect]}
		if ch.From != 0 {
			one.From = ch.From.String()
		}
		if ch.To != 0 {
			one.To = ch.To.String()
		}
		c.Changes = append(c.Changes, one)
	}
	return c, nil
}

func version(file string, s *rules.Set) Version {
	return Version{File: file, RuleSet: s.ID, Hash: s.Hash(), Flags: len(s.Flags)}
}
