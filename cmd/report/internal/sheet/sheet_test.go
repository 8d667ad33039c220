package sheet

import (
	"bytes"
	"context"
	"errors"
	"html/template"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func example() Page {
	return Page{
		Title: `Trial of <rules> "2"`, Heading: "A trial", Kicker: "Animal advice line",
		Facts:    []Fact{{"Data up to", "9 Nov 2026"}},
		Contents: []Group{{"All", []Link{{"one", "1", "The first"}}}},
		Body:     "<section id=\"one\"><h2>The first</h2><pre>a\n\n  b</pre>\n\n<p>text</p></section>",
		Cautions: Usual(), Style: ".x { color: red; }",
	}
}

func TestWrite(t *testing.T) {
	var b bytes.Buffer
	if err := Write(&b, example()); err != nil {
		t.Fatal(err)
	}
	s := b.String()
	for _, want := range []string{
		"<title>Trial of &lt;rules&gt; &#34;2&#34;</title>", "<h1>A trial</h1>", `href="#one"`, "a\n\n  b</pre>\n<p>text</p>", ".x { color: red; }",
		"not a diagnosis", "licensed veterinary professional", `content: "Trial of \3c rules> \"2\""`, "aria-sort", "counter(page)",
	} {
		if !strings.Contains(s, want) {
			t.Errorf("the page does not hold %q", want)
		}
	}
	for _, never := range []string{"http:", "https:", "//cdn", "<link", "ZgotmplZ"} {
		if strings.Contains(s, never) {
			t.Errorf("the page holds %q", never)
		}
	}
	if n := strings.Count(s, "\n\n"); n != 1 {
		t.Errorf("%d blank lines, want the one within pre", n)
	}
}

// A text from records is escaped where it is no template.HTML.
func TestWriteEscapes(t *testing.T) {
	p := example()
	p.Title, p.Kicker = "</style><script>alert(1)</script>", "<b>bold</b>"
	p.Facts = []Fact{{"<i>", template.HTML(template.HTMLEscapeString("<u>"))}}
	var b bytes.Buffer
	if err := Write(&b, p); err != nil {
		t.Fatal(err)
	}
	for _, never := range []string{"<script>alert", "<b>bold", "<i>", "<u>", "</style><script>a"} {
		if strings.Contains(b.String(), never) {
			t.Errorf("the page holds %q", never)
		}
	}
}

func TestDated(t *testing.T) {
	in := []byte("x /CreationDate (D:20261126090000+00'00') /ModDate (D:20261126090001+00'00') y")
	out := dated(in, time.Date(2026, 10, 5, 6, 7, 8, 0, time.UTC))
	if want := "x /CreationDate (D:20261005060708+00'00') /ModDate (D:20261005060708+00'00') y"; string(out) != want {
		t.Errorf("%s", out)
	}
	if !bytes.Equal(dated(in, time.Time{}), in) {
		t.Error("the zero time must leave the file alone")
	}
}

// browserOrSkip skips where no browser is installed and fails in CI.
func browserOrSkip(t *testing.T) {
	t.Helper()
	if _, err := findBrowser(""); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
}

func TestPrint(t *testing.T) {
	browserOrSkip(t)
	dir := t.TempDir()
	page := filepath.Join(dir, "a page.html")
	var b bytes.Buffer
	if err := Write(&b, example()); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(page, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	made := time.Date(2026, 10, 5, 6, 0, 0, 0, time.UTC)
	var files [2][]byte
	for i := range files {
		to := filepath.Join(dir, "page.pdf")
		if err := Print(context.Background(), page, to, PrintOptions{Made: made}); err != nil {
			t.Fatal(err)
		}
		var err error
		if files[i], err = os.ReadFile(to); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(files[0], files[1]) {
		t.Error("printed twice, the files differ")
	}
	left, err := filepath.Glob(filepath.Join(dir, ".*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	if text, err := exec.Command("pdftotext", "-layout", filepath.Join(dir, "page.pdf"), "-").Output(); err == nil {
		for _, want := range []string{"A trial", "Not a diagnosis"} {
			if !strings.Contains(string(text), want) {
				t.Errorf("the paper does not say %q:\n%s", want, text)
			}
		}
	}
}

func TestPrintWithoutBrowser(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	err := Print(context.Background(), "page.html", "page.pdf", PrintOptions{})
	if !errors.Is(err, ErrNoBrowser) || !strings.Contains(err.Error(), "apt-get install chromium") {
		t.Errorf("%v", err)
	}
	err = Print(context.Background(), "page.html", "page.pdf", PrintOptions{Browser: "/no/such/browser"})
	if !errors.Is(err, ErrNoBrowser) || !strings.Contains(err.Error(), "/no/such/browser") {
		t.Errorf("%v", err)
	}
}

// A browser that fails, hangs or writes nothing is an error with a remedy, and
// no file stands.
func TestPrintWithBadBrowser(t *testing.T) {
	dir := t.TempDir()
	for name, c := range map[string]struct{ script, want string }{
		"fails":  {"echo cannot start >&2; exit 5", "cannot start"},
		"hangs":  {"exec sleep 30", "not done after"},
		"silent": {"exit 0", "wrote no PDF"},
	} {
		script := filepath.Join(dir, name)
		if err := os.WriteFile(script, []byte("#!/bin/sh\n"+c.script+"\n"), 0o700); err != nil {
			t.Fatal(err)
		}
		to := filepath.Join(dir, name+".pdf")
		err := Print(context.Background(), "page.html", to, PrintOptions{Browser: script, Timeout: time.Second})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := os.Stat(to); err == nil {
			t.Errorf("%s: a file stands", name)
		}
	}
}
