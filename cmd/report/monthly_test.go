package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/cmd/internal/command"
	"hindcheck/cmd/internal/settings"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/queries"
)

// again runs the command in the present folder, where report would open a new one.
func again(t *testing.T, args ...string) (status int, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	s := command.Streams{In: strings.NewReader(""), Out: &o, Err: &e}
	open := func(context.Context, settings.Settings) (*queries.DB, error) { return year(t), nil }
	status = command.Execute(context.Background(), newRoot(s, open), args, s)
	return status, e.String()
}

// contents are the files below a folder.
func contents(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		out[path] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// The same store gives the same bytes, with an archive behind it and without
// asking a clock, and a run never counts as its own forerunner.
func TestMonthlyTwice(t *testing.T) {
	t.Chdir(t.TempDir())
	if status, errs := again(t, "monthly", "--out", "out", "--month", "2026-06"); status != 0 {
		t.Fatal(errs)
	}
	var runs [2]map[string]string
	for i := range runs {
		if status, errs := again(t, "monthly", "--out", "out"); status != 0 {
			t.Fatal(errs)
		}
		runs[i] = contents(t, "out")
	}
	if len(runs[0]) != 13 {
		t.Errorf("%d files: 4 of each month, 2 of each in the archive, and the actions", len(runs[0]))
	}
	for name, text := range runs[0] {
		if runs[1][name] != text {
			t.Errorf("%s differs", name)
		}
	}
	var r review.Review
	if err := json.Unmarshal([]byte(runs[1][filepath.Join("out", "review-2026-07.json")]), &r); err != nil {
		t.Fatal(err)
	}
	if !r.Since.Found || r.Since.Month != "2026-06" || r.Since.Restated || !r.Since.Comparable || len(r.Since.Figures) < 4 {
		t.Errorf("since: %+v", r.Since)
	}
}

// What people wrote into the actions file comes back in the review; a mistake
// in it is named and stops the review before anything is written.
func TestMonthlyActions(t *testing.T) {
	t.Chdir(t.TempDir())
	const file = "actions:\n  - {id: gums, what: Ask for the gums first., owner: protocol lead, due: 2026-10-01, status: open}\n"
	if err := os.WriteFile("agreed.yaml", []byte(file), 0o600); err != nil {
		t.Fatal(err)
	}
	for meeting, overdue := range map[string]int{"2026-10-01": 0, "2026-10-02": 1} {
		if status, errs := again(t, "monthly", "--out", "out", "--actions", "agreed.yaml", "--meeting", meeting); status != 0 {
			t.Fatal(errs)
		}
		var r review.Review
		if err := json.Unmarshal([]byte(contents(t, "out")[filepath.Join("out", "review-2026-07.json")]), &r); err != nil {
			t.Fatal(err)
		}
		if len(r.Actions.Open) != 1 || r.Actions.Overdue != overdue || r.Actions.Open[0].Overdue != (overdue == 1) {
			t.Errorf("meeting on %s: %+v", meeting, r.Actions)
		}
	}
	if err := os.WriteFile("agreed.yaml", []byte(strings.Replace(file, "open}", "soon}", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if status, errs := again(t, "monthly", "--out", "other", "--actions", "agreed.yaml"); status != command.Failed || !strings.Contains(errs, "agreed.yaml:2") || !strings.Contains(errs, "open, done") {
		t.Errorf("status %d: %s", status, errs)
	}
	if _, err := os.Stat("other"); err == nil {
		t.Error("something was written")
	}
}

func TestMonthlyMisused(t *testing.T) {
	for name, c := range map[string]struct {
		args []string
		want string
	}{
		"into the store":        {[]string{"--out", "store/reviews"}, "outside store"},
		"archive in the store":  {[]string{"--out", "out", "--reviews", "./store"}, "outside store"},
		"PDF without a folder":  {[]string{"--pdf"}, "--out FOLDER"},
		"no such actions":       {[]string{"--out", "out", "--actions", "none.yaml"}, "none.yaml"},
		"a meeting on no day":   {[]string{"--meeting", "next week"}, "2026-11-20"},
		"a folder beside store": {[]string{"--out", "stores", "--month", "July"}, "such as 2026-07"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Chdir(t.TempDir())
			if status, errs := again(t, append([]string{"monthly"}, c.args...)...); status != command.Usage || !strings.Contains(errs, c.want) {
				t.Errorf("status %d: %s; want 2 and %q", status, errs, c.want)
			}
			if left, _ := os.ReadDir("."); len(left) > 0 {
				t.Errorf("left behind: %v", left)
			}
		})
	}
}

// Without a browser the page still stands, and the message says what to do.
func TestMonthlyWithoutBrowser(t *testing.T) {
	t.Chdir(t.TempDir())
	status, errs := again(t, "monthly", "--out", "out", "--pdf", "--browser", "no-such-browser")
	if status != command.Failed || !strings.Contains(errs, "no-such-browser") || !strings.Contains(errs, "--browser") || !strings.Contains(errs, "are written") {
		t.Errorf("status %d: %s", status, errs)
	}
	if _, err := os.Stat(filepath.Join("out", "review-2026-07.html")); err != nil {
		t.Error(err)
	}
}

// An archived review that cannot be read is named with a remedy.
func TestMonthlyBrokenArchive(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.MkdirAll("kept", 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("kept/review-2026-06-load-1.json", []byte("{"), 0o600); err != nil {
		t.Fatal(err)
	}
	if status, errs := again(t, "monthly", "--reviews", "kept"); status != command.Failed || !strings.Contains(errs, "review-2026-06-load-1.json") || !strings.Contains(errs, "move it out") {
		t.Errorf("status %d: %s", status, errs)
	}
}
