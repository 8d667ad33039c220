// Package strata reads the file that fixes within which groups verified and
// unverified calls are taken to be alike, for the corrected estimates.
//
// The groups are fixed in a file, before anyone looks at the results, because
// choosing them afterwards is choosing the figure. The advice level is always
// among them: whether an outcome becomes known follows the advice. Counting by
// group is the job of queries, and merging thin groups that of metrics; both
// follow the order that stands here.
package strata

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"hindcheck/pipeline/strict"
)

// Level is the dimension that is never dropped.
const Level = "level"

// Allowed lists the dimensions, which are columns of `cases`. All are known when
// the advice is given; nothing that depends on the outcome may be one.
func Allowed() []string {
	return []string{Level, "site", "species", "breed_group", "sex", "neutered", "complaint", "ruleset", "month", "weekday"}
}

// Strata is one file.
type Strata struct {
	File string
	// ID and Title are printed with every figure that rests on the strata.
	ID, Title string
	// Dimensions in the order of the file; Level is among them.
	Dimensions []string
	// Collapse is the order in which dimensions are dropped while a stratum
	// has too few verified calls, first one first. Never holds Level.
	Collapse []string
	// MinVerified is the number of verified calls below which a stratum is
	// too thin to stand alone.
	MinVerified int
}

// Default is used where a line has no file of its own.
func Default() *Strata {
	return &Strata{File: "default strata", ID: "default", Title: "advice level, species and site",
		Dimensions: []string{Level, "species", "site"}, Collapse: []string{"site", "species"}, MinVerified: 10}
}

// Load reads a strata file; an empty path means Default. The error is
// strict.Problems with every mistake.
func Load(path string) (*Strata, error) {
	if path == "" {
		return Default(), nil
	}
	data, err := strict.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return Parse(path, data)
}

// Parse reads the text of a strata file; file is its name in messages.
func Parse(file string, data []byte) (*Strata, error) {
	doc, top := strict.Parse(file, data)
	m := top.Map("strata", "title", "dimensions", "collapse", "min_verified")
	s := &Strata{File: file, ID: m.Need("strata").ID(), Title: m.Need("title").Text(),
		MinVerified: m.Need("min_verified").Int(1, 100_000)}
	dimension := func(n strict.Node) string { return n.Choice(Allowed()...) }
	s.Dimensions = m.Need("dimensions").Each(dimension)
	if d := m.Get("dimensions"); d.Exists() && !slices.Contains(s.Dimensions, Level) {
		d.Fail("level among the dimensions", strings.Join(s.Dimensions, ", "), "add it: whether an outcome is known follows the advice")
	}
	s.Collapse = m.Get("collapse").Each(dimension)
	for _, c := range s.Collapse {
		switch {
		case c == Level:
			m.Get("collapse").Fail("dimensions other than level", Level, "delete it; the level is never dropped")
		case !slices.Contains(s.Dimensions, c):
			m.Get("collapse").Fail("dimensions that stand under dimensions", fmt.Sprintf("%q", c), "correct the word")
		}
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return s, nil
}

// Steps returns the dimensions before and after each collapse: the full list
// first, then without the first of Collapse, and so on.
func (s *Strata) Steps() [][]string {
	steps := [][]string{slices.Clone(s.Dimensions)}
	for _, drop := range s.Collapse {
		last := steps[len(steps)-1]
		steps = append(steps, slices.DeleteFunc(slices.Clone(last), func(d string) bool { return d == drop }))
	}
	return steps
}

// Hash returns the SHA-256, in hexadecimal, of all that the file decides.
func (s *Strata) Hash() string {
	sum := sha256.Sum256([]byte(fmt.Sprintf("%q %q %q %q %d", s.ID, s.Title, s.Dimensions, s.Collapse, s.MinVerified)))
	return hex.EncodeToString(sum[:])
}
