// Package forms holds the blank forms that report writes for people to fill in,
// each with the source description by which ingest load reads it back: the
// drawn follow-up sample and the case review. What a form asks is a column of
// its description, and a test holds the two together.
package forms

import (
	"embed"
	"encoding/csv"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

//go:embed follow_up.yaml case_review.yaml
var descriptions embed.FS

// Form is a blank form: its columns and the file that describes it.
type Form struct {
	// Description is the name of the source description, such as follow_up.yaml.
	Description string
	// Columns in order; the first ones are filled in already.
	Columns []string
}

// The forms.
var (
	FollowUp = Form{"follow_up.yaml", []string{"draw", "call", "first_contact", "species", "reason_for_call", "advised", "selection_p",
		"filled_on", "reached", "called_at", "event_at", "result", "needed", "why_put_to_sleep", "why_not_seen"}}
	CaseReview = Form{"case_review.yaml", []string{"case", "role", "reviewer", "judged_on", "foreseeable", "avoidable", "reason", "needed"}}
)

// Write writes the form as CSV, one row an entry of filled, which gives the
// first columns; the others stay blank.
func (f Form) Write(w io.Writer, filled [][]string) error {
	cw := csv.NewWriter(w)
	if err := cw.Write(f.Columns); err != nil {
		return err
	}
	for _, row := range filled {
		cells := make([]string, len(f.Columns))
		copy(cells, row)
		if err := cw.Write(cells); err != nil {
			return err
		}
	}
	cw.Flush()
	return cw.Error()
}

// Describe puts the form's source description into a folder sources below dir.
// One that is there already stays: a line may have set its own zone.
func (f Form) Describe(dir string) (string, error) {
	text, err := descriptions.ReadFile(f.Description)
	if err != nil {
		return "", err
	}
	path := filepath.Join(dir, "sources", f.Description)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return "", fmt.Errorf("write %s: %w", f.Description, err)
	}
	if _, err := os.Stat(path); err == nil {
		return path, nil
	}
	return path, os.WriteFile(path, text, 0o644)
}
