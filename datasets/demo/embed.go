package demo

import (
	"embed"
	"io/fs"
)

// settings holds the files that a store of the demonstration line is loaded
// and judged with.
//
//go:embed rules.yaml case_definition.yaml strata.yaml criteria.yaml appointments.yaml privacy.yaml sources/*.yaml
var settings embed.FS

// Settings returns rules.yaml, case_definition.yaml, strata.yaml, criteria.yaml,
// appointments.yaml, privacy.yaml and the folder sources of the demonstration line.
func Settings() fs.FS { return settings }

// Sources returns the source descriptions: calls.yaml, checks.yaml,
// outcomes.yaml, coverage.yaml, and vet_readings.yaml, which reads the vet's
// own checks from the outcomes files.
func Sources() fs.FS {
	sub, err := fs.Sub(settings, "sources")
	if err != nil {
		panic(err) // the folder is embedded above
	}
	return sub
}

// ActionsBefore and Actions are the line's actions file at the review before
// the last one and now.
var (
	//go:embed actions/before.yaml
	ActionsBefore []byte
	//go:embed actions/now.yaml
	Actions []byte
)
