package page

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"golang.org/x/net/html"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/sheet/sheettest"
)

func written(t *testing.T, r *review.Review) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestInBrowser(t *testing.T) {
	ctx := sheettest.Browser(t)
	all := edges(t)
	for name, r := range map[string]*review.Review{"year": yearReview(t), "no calls": all["no calls"], "one missed case": all["one missed case"]} {
		t.Run(name, func(t *testing.T) {
			tab := sheettest.Check(t, ctx, written(t, r))
			if name == "year" {
				sheettest.Access(t, tab)
			}
		})
	}
	t.Run("summary", func(t *testing.T) {
		var b bytes.Buffer
		if err := Summary(&b, yearReview(t)); err != nil {
			t.Fatal(err)
		}
		sheettest.Access(t, sheettest.Check(t, ctx, b.Bytes()))
	})
}

// Tables sort by number, not by text, and back, by click and by key.
func TestTablesSort(t *testing.T) {
	ctx := sheettest.Browser(t)
	const table = `document.querySelector("table.sortable.flags")`
	const column = `JSON.stringify(Array.from(` + table + `.tBodies[0].rows).map(r => parseFloat(r.cells[1].getAttribute("data-sort"))))`
	const state = table + `.querySelector("th[aria-sort]").getAttribute("aria-sort")`
	var before, down, up, again, first, second string
	err := chromedp.Run(ctx, chromedp.Navigate(sheettest.Address(t, written(t, yearReview(t)))), chromedp.Evaluate(column, &before),
		chromedp.Evaluate(table+`.querySelectorAll(".sort")[1].click()`, nil),
		chromedp.Evaluate(column, &down), chromedp.Evaluate(state, &first),
		chromedp.Evaluate(table+`.querySelectorAll(".sort")[1].focus()`, nil), chromedp.KeyEvent(kb.Enter),
		chromedp.Evaluate(column, &up), chromedp.Evaluate(state, &second),
		chromedp.KeyEvent(" "), chromedp.Evaluate(column, &again))
	if err != nil {
		t.Fatal(err)
	}
	var d, u []float64
	if json.Unmarshal([]byte(down), &d) != nil || json.Unmarshal([]byte(up), &u) != nil || len(d) != 12 {
		t.Fatalf("columns %s, %s", down, up)
	}
	for i := 1; i < len(d); i++ {
		if d[i] > d[i-1] || u[i] < u[i-1] {
			t.Errorf("not sorted: %v, %v", d, u)
			break
		}
	}
	if first != "descending" || second != "ascending" || before == down || again != down {
		t.Errorf("aria-sort %q, then %q; before %s, again %s", first, second, before, again)
	}
}

// The keyboard meets the skip link first, which leads past the contents list;
// then the links and headings in the order of the page.
func TestKeyboard(t *testing.T) {
	ctx := sheettest.Browser(t)
	const focused = `(document.activeElement.className || document.activeElement.tagName) + " " + (document.activeElement.id || document.activeElement.getAttribute("href") || "")`
	var first, after string
	var order []float64
	err := chromedp.Run(ctx, chromedp.Navigate(sheettest.Address(t, written(t, yearReview(t)))),
		chromedp.KeyEvent(kb.Tab), chromedp.Evaluate(focused, &first),
		chromedp.KeyEvent(kb.Enter), chromedp.Evaluate(focused, &after),
		chromedp.Evaluate(`Array.from(document.querySelectorAll("a, summary, .sort, [tabindex]")).filter(e => e.tabIndex > 0).map(e => e.tabIndex)`, &order))
	if err != nil {
		t.Fatal(err)
	}
	if first != "skip #main" || after != "MAIN main" {
		t.Errorf("first stop %q, after Enter %q", first, after)
	}
	if len(order) > 0 {
		t.Errorf("elements that jump the order of the page: %v", order)
	}
}

// headings are the texts of h2 and h3 as paper shows them.
func headings(t *testing.T, data []byte) map[string]bool {
	t.Helper()
	doc, err := html.Parse(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]bool{}
	each(doc, func(n *html.Node) {
		if n.Data == "h2" || n.Data == "h3" || n.Data == "h4" {
			out[strings.Join(strings.Fields(content(n)), "")] = true
		}
	})
	return out
}

// printed returns the text of each page on paper.
func printed(t *testing.T, ctx context.Context, data []byte) []string {
	t.Helper()
	pdftotext, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("no pdftotext; install poppler-utils")
		}
		t.Skip("no pdftotext; install poppler-utils")
	}
	var pdf []byte
	err = chromedp.Run(ctx, chromedp.Navigate(sheettest.Address(t, data)), chromedp.ActionFunc(func(ctx context.Context) (err error) {
		pdf, _, err = page.PrintToPDF().WithPreferCSSPageSize(true).WithPrintBackground(true).Do(ctx)
		return err
	}))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "page.pdf")
	if err := os.WriteFile(path, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command(pdftotext, "-layout", path, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSuffix(string(text), "\f"), "\f")
}

// On paper every page has its number and the caution, every one but the first
// the running head, and none ends with a heading. The summary is two sheets.
func TestOnPaper(t *testing.T) {
	ctx := sheettest.Browser(t)
	data := written(t, yearReview(t))
	heads := headings(t, data)
	pages := printed(t, ctx, data)
	if len(pages) < 5 || len(heads) < 20 {
		t.Fatalf("%d pages, %d headings", len(pages), len(heads))
	}
	for i, text := range pages {
		lines := []string{}
		for _, line := range strings.Split(text, "\n") {
			if strings.TrimSpace(line) != "" {
				lines = append(lines, line)
			}
		}
		if len(lines) < 3 {
			t.Errorf("page %d is all but empty: %q", i+1, lines)
			continue
		}
		foot, last := lines[len(lines)-1], lines[len(lines)-2]
		if !strings.Contains(foot, "Not a diagnosis") || !strings.Contains(foot, "/") {
			t.Errorf("page %d ends with %q", i+1, foot)
		}
		if head := strings.Contains(lines[0], "Monthly review, "); head != (i > 0) {
			t.Errorf("page %d begins with %q", i+1, lines[0])
		}
		if heads[strings.Join(strings.Fields(last), "")] {
			t.Errorf("page %d ends with the heading %q", i+1, strings.TrimSpace(last))
		}
	}
	var b bytes.Buffer
	if err := Summary(&b, yearReview(t)); err != nil {
		t.Fatal(err)
	}
	if n := len(printed(t, ctx, b.Bytes())); n != 2 {
		t.Errorf("the summary has %d sheets, want 2", n)
	}
}
