package actions

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

const two = `actions:
  - id: gum_colour_first
    what: Ask for the gum colour first when an animal has collapsed.
    owner: protocol lead
    due: 2026-10-31
    status: open
  - {id: feed, what: Ask the practice for November., owner: data lead, due: 2026-12-01, status: dropped, note: it closed}
`

func TestParse(t *testing.T) {
	got, err := Parse("actions.yaml", []byte(two))
	if err != nil {
		t.Fatal(err)
	}
	want := []Action{
		{"gum_colour_first", "Ask for the gum colour first when an animal has collapsed.", "protocol lead", time.Date(2026, 10, 31, 0, 0, 0, 0, time.UTC), Open, ""},
		{"feed", "Ask the practice for November.", "data lead", time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC), Dropped, "it closed"},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestMistakes(t *testing.T) {
	for name, c := range map[string]struct{ old, new, want string }{
		"unknown key":      {"owner: protocol lead", "person: protocol lead", `"person"`},
		"unknown state":    {"status: open", "status: doing", "open, done"},
		"no day":           {"due: 2026-10-31", "due: next week", "due"},
		"id twice":         {"id: feed", "id: gum_colour_first", "line 2"},
		"dropped, no note": {", note: it closed", "", "says why"},
		"no list":          {two, "actions: nothing\n", "list"},
	} {
		text := strings.Replace(two, c.old, c.new, 1)
		if text == two {
			t.Fatalf("%s: nothing replaced", name)
		}
		if _, err := Parse("actions.yaml", []byte(text)); err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "actions.yaml") {
			t.Errorf("%s: %v, want it to name %q", name, err, c.want)
		}
	}
}

// The form reads as no actions, and as two once its example is uncommented;
// what people wrote is never replaced.
func TestStart(t *testing.T) {
	path := filepath.Join(t.TempDir(), "actions.yaml")
	if got, err := Read(path); err != nil || got != nil {
		t.Fatalf("no file: %v, %v", got, err)
	}
	if err := Start(path); err != nil {
		t.Fatal(err)
	}
	if got, err := Read(path); err != nil || len(got) != 0 {
		t.Fatalf("the form: %v, %v", got, err)
	}
	example := strings.Replace(strings.ReplaceAll(form, "\n# ", "\n"), "actions: none\n", "", 1)
	example = example[strings.Index(example, "actions:"):]
	if got, err := Parse("form", []byte(example)); err != nil || len(got) != 1 {
		t.Errorf("the form's example: %v, %v", got, err)
	}
	if err := os.WriteFile(path, []byte(two), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := Start(path); err != nil {
		t.Fatal(err)
	}
	if got, err := Read(path); err != nil || len(got) != 2 {
		t.Errorf("after Start: %v, %v", got, err)
	}
}
