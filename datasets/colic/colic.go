// Package colic holds open data on 300 horses with colic and all that is
// needed to load and judge them: source descriptions, the findings they add to
// the common dictionary, two case definitions, and flags for each sign.
//
// The data are McLeish M, Cecile M (1989), Horse Colic, UCI Machine Learning
// Repository, doi 10.24432/C58W23, licensed CC BY 4.0; see README.md for what
// each column means and what was left out. Nothing in them is about telephone
// advice: they serve to check the whole path, from rows to pages, against
// figures that were computed elsewhere (testdata/expected.json).
//
// Start at Files.
package colic

import (
	"embed"
	"io/fs"
)

//go:embed horse_colic.csv dictionary.yaml death.yaml surgical_lesion.yaml rules.yaml strata.yaml sources/*.yaml
var files embed.FS

// Files returns horse_colic.csv, dictionary.yaml, death.yaml and
// surgical_lesion.yaml (case definitions), rules.yaml, strata.yaml and the
// folder sources with calls.yaml, checks.yaml and outcomes.yaml.
func Files() fs.FS { return files }

// ExportedDay is the day that stands for the time of export when the file is
// loaded (YYYY-MM-DD): the file itself has no date, and the day must follow the
// last of the made-up dates by more than the maturity of an outcome.
const ExportedDay = "2001-06-30"
