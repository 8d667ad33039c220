package forms

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/source"
)

// Every column that a description reads is on its form, and every column to be
// filled in is read.
func TestFormsAndDescriptions(t *testing.T) {
	dir := t.TempDir()
	told := map[string][]string{"follow_up.yaml": {"first_contact", "species", "reason_for_call", "advised"}, "case_review.yaml": {}}
	for _, f := range []Form{FollowUp, CaseReview} {
		path, err := f.Describe(dir)
		if err != nil {
			t.Fatal(err)
		}
		d, err := source.Read(path, findings.Default())
		if err != nil {
			t.Fatal(err)
		}
		read := told[f.Description]
		for _, c := range d.Columns {
			for _, alt := range c.From {
				for _, name := range alt {
					if !slices.Contains(f.Columns, name) {
						t.Errorf("%s reads %s, which the form does not have", f.Description, name)
					}
					read = append(read, name)
				}
			}
		}
		read = append(read, map[string]string{"follow_up.yaml": "filled_on", "case_review.yaml": "judged_on"}[f.Description])
		for _, name := range f.Columns {
			if !slices.Contains(read, name) {
				t.Errorf("%s: the form asks for %s, which nothing reads", f.Description, name)
			}
		}
	}
}

// A description that a line has changed stays.
func TestDescribeKeeps(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "sources", "follow_up.yaml")
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte("own"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := FollowUp.Describe(dir); err != nil {
		t.Fatal(err)
	}
	if text, err := os.ReadFile(path); err != nil || string(text) != "own" {
		t.Errorf("%q, %v", text, err)
	}
}

func TestWrite(t *testing.T) {
	var b strings.Builder
	if err := CaseReview.Write(&b, [][]string{{"x", "panel"}}); err != nil || b.String() != "case,role,reviewer,judged_on,foreseeable,avoidable,reason,needed\nx,panel,,,,,,\n" {
		t.Errorf("%q, %v", b.String(), err)
	}
}
