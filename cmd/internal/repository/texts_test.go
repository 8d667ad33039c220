package repository

import (
	"bytes"
	"net/url"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode"
)

// The driver's version is fixed: a later number belongs to an older line of
// releases, and "the latest" would take it.
func TestDriverIsPinned(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(root, "go.mod"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		`(?m)^\s*github\.com/duckdb/duckdb-go/v2 v2\.10506\.0$`,
		`(?m)^exclude github\.com/duckdb/duckdb-go/v2 v2\.20000\.0$`,
		`(?m)^module hindcheck$`,
	} {
		if !regexp.MustCompile(want).Match(text) {
			t.Errorf("go.mod has no line %s", want)
		}
	}
	if regexp.MustCompile(`(?m)^\s*replace\b`).Match(text) {
		t.Error("go.mod replaces a module: builds would differ between machines")
	}
}

var (
	link    = regexp.MustCompile(`\]\(([^)\s]+)(?:\s+"[^"]*")?\)`)
	fenced  = regexp.MustCompile("(?ms)^\\s*```.*?^\\s*```")
	inline  = regexp.MustCompile("`[^`\n]*`")
	heading = regexp.MustCompile(`(?m)^#{1,6}\s+(.+?)\s*$`)
)

// anchor is the name under which a heading is reached.
func anchor(text string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(text) {
		switch {
		case r == ' ':
			b.WriteByte('-')
		case r == '-' || r == '_' || unicode.IsLetter(r) || unicode.IsDigit(r):
			b.WriteRune(r)
		}
	}
	return b.String()
}

// Links between documents, and to headings, lead somewhere.
func TestMarkdownLinks(t *testing.T) {
	names, err := files(root)
	if err != nil {
		t.Fatal(err)
	}
	texts := map[string]string{}
	for _, name := range names {
		if path.Ext(name) == ".md" {
			text, err := os.ReadFile(filepath.Join(root, name))
			if err != nil {
				t.Fatal(err)
			}
			texts[name] = fenced.ReplaceAllString(string(text), "")
		}
	}
	if texts["README.md"] == "" {
		t.Fatal("README.md was not found")
	}
	for name, text := range texts {
		for _, m := range link.FindAllStringSubmatch(inline.ReplaceAllString(text, ""), -1) {
			u, err := url.Parse(m[1])
			if err != nil {
				t.Errorf("%s: link %s: %v", name, m[1], err)
				continue
			}
			if u.Scheme != "" {
				continue
			}
			target := name
			if u.Path != "" {
				target = path.Join(path.Dir(name), u.Path)
				if _, err := os.Stat(filepath.Join(root, target)); err != nil || strings.HasPrefix(target, "..") {
					t.Errorf("%s links to %s, which is not in the repository", name, m[1])
					continue
				}
			}
			if u.Fragment == "" || path.Ext(target) != ".md" {
				continue
			}
			found := false
			for _, h := range heading.FindAllStringSubmatch(texts[target], -1) {
				found = found || anchor(h[1]) == u.Fragment
			}
			if !found {
				t.Errorf("%s links to %s: no such heading", name, m[1])
			}
		}
	}
}

// machinePath is an absolute path of somebody's machine.
var machinePath = regexp.MustCompile(`(?:^|[\s"'(=:` + "`" + `])(?:/(?:work|tmp|root|Users|home/[a-z]+|var/folders)/[\w.]|[A-Z]:\\Users\\)`)

func TestNoMachinePaths(t *testing.T) {
	names, err := files(root)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		switch path.Ext(name) {
		case ".parquet", ".png", ".pdf", ".gz", ".zst", ".xlsx":
			continue
		}
		text, err := os.ReadFile(filepath.Join(root, name))
		if err != nil {
			t.Fatal(err)
		}
		if bytes.IndexByte(text, 0) >= 0 {
			continue
		}
		for i, l := range bytes.Split(text, []byte("\n")) {
			if m := machinePath.Find(l); m != nil {
				t.Errorf("%s:%d holds %q, a path of one machine", name, i+1, m)
			}
		}
	}
}

func TestMachinePathIsSeen(t *testing.T) {
	for line, want := range map[string]bool{
		`open("/home/` + `someone/x.csv")`:         true,
		"see /tm" + "p/x":                          true,
		`C:\User` + `s\someone`:                    true,
		"https://example.org/home/someone":         false,
		"a share of 1/work per day":                false,
		"store=/Use" + "rs/someone/demo":           true,
		"report --store demo/store --dir ./tmp/ab": false,
	} {
		if got := machinePath.MatchString(line); got != want {
			t.Errorf("%q: seen %v, want %v", line, got, want)
		}
	}
}
