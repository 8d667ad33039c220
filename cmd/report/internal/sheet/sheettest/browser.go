// Package sheettest opens a written page in a real browser and asks what every
// page of the product promises: it is quiet, asks nothing of the network, fits
// a telephone, a desk and paper, and can be read and used without eyes or
// mouse. Tests of any page call Check.
package sheettest

import (
	"context"
	"encoding/json"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"hindcheck/cmd/report/internal/sheet"
)

// Widths are those of two telephones, a tablet and a desk, in CSS pixels.
var Widths = []int64{360, 390, 768, 1280}

// paperWidth is that of A4 less the margins, in CSS pixels.
const paperWidth = 695 // 184 mm at 96 dots an inch

// missing skips for want of a tool, and fails in CI, where it must be there.
func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatal(what)
	}
	t.Skip(what)
}

// Browser starts a headless browser that ends with the test; it skips where
// none is installed and fails in CI.
func Browser(t *testing.T) context.Context {
	t.Helper()
	found := ""
	for _, name := range sheet.Browsers {
		if path, err := exec.LookPath(name); err == nil {
			found = path
			break
		}
	}
	if found == "" {
		missing(t, "no browser; install chromium")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(found), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("hide-scrollbars", true))
	alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, stop := chromedp.NewContext(alloc)
	ctx, cancel := context.WithTimeout(ctx, 3*time.Minute)
	t.Cleanup(func() { cancel(); stop(); stopAlloc() })
	return ctx
}

// Address writes a page into a file and gives its address.
func Address(t *testing.T, html []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "page.html")
	if err := os.WriteFile(path, html, 0o600); err != nil {
		t.Fatal(err)
	}
	return (&url.URL{Scheme: "file", Path: path}).String()
}

// Problems gathers what a reader would not see: messages on the console and
// requests beyond the file itself.
type Problems struct {
	mu   sync.Mutex
	list []string
}

// Watch begins to gather. It must come before the page is opened.
func (p *Problems) Watch(ctx context.Context, page string) error {
	add := func(s string) {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.list = append(p.list, s)
	}
	chromedp.ListenTarget(ctx, func(ev any) {
		switch ev := ev.(type) {
		case *runtime.EventConsoleAPICalled:
			add("console: " + string(ev.Type))
		case *runtime.EventExceptionThrown:
			add("exception: " + ev.ExceptionDetails.Text)
		case *network.EventRequestWillBeSent:
			if address, _, _ := strings.Cut(ev.Request.URL, "#"); address != page && !strings.HasPrefix(address, "data:") {
				add("request: " + ev.Request.URL)
			}
		}
	})
	return chromedp.Run(ctx, network.Enable(), runtime.Enable())
}

// List is what was gathered so far.
func (p *Problems) List() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]string{}, p.list...)
}

// Ask evaluates JavaScript that returns a JSON list of texts.
func Ask(t *testing.T, ctx context.Context, script string) []string {
	t.Helper()
	var found string
	await := func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }
	if err := chromedp.Run(ctx, chromedp.Evaluate(script, &found, await)); err != nil {
		t.Fatal(err)
	}
	var list []string
	if err := json.Unmarshal([]byte(found), &list); err != nil {
		t.Fatal(err)
	}
	return list
}

// layout returns what overlaps or leaves its frame, in the page's own words:
// text boxes of one figure that overlap, text outside its figure, and content
// wider than the window that no frame scrolls.
const layout = `(() => {
  const out = [], name = svg => (svg.querySelector("title") || {}).textContent;
  document.querySelectorAll("details").forEach(d => { d.open = true; });
  document.querySelectorAll("svg[role=img]").forEach(svg => {
    const frame = svg.getBoundingClientRect();
    if (frame.width === 0) { return; }
    const texts = Array.from(svg.querySelectorAll("text")).map(t => ({t: t.textContent, r: t.getBoundingClientRect()}));
    texts.forEach((a, i) => {
      if (a.r.left < frame.left - 1 || a.r.right > frame.right + 1 || a.r.top < frame.top - 2 || a.r.bottom > frame.bottom + 2) {
        out.push("outside " + name(svg) + ": " + a.t);
      }
      texts.slice(i + 1).forEach(b => {
        if (a.r.left < b.r.right - 0.5 && b.r.left < a.r.right - 0.5 && a.r.top < b.r.bottom - 1 && b.r.top < a.r.bottom - 1) {
          out.push("overlap in " + name(svg) + ": " + a.t + " / " + b.t);
        }
      });
    });
  });
  if (document.documentElement.scrollWidth > window.innerWidth) { out.push("page wider than the window: " + document.documentElement.scrollWidth + " > " + window.innerWidth); }
  document.querySelectorAll("td, th, p, li, dd, pre, caption, h1, h2, h3").forEach(e => {
    if (e.clientWidth > 0 && e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX === "visible" && !e.closest(".scroll")) {
      out.push("text runs out of its box: " + e.textContent.trim().slice(0, 40));
    }
  });
  document.querySelectorAll("figure").forEach(f => {
    const pair = Array.from(f.querySelectorAll("svg.wide, svg.narrow"));
    const shown = pair.filter(s => s.getBoundingClientRect().width > 0).length;
    if (f.closest("details:not([open])") === null && shown * 2 !== pair.length) { out.push("of " + pair.length + " drawings for two widths, " + shown + " are shown"); }
  });
  document.querySelectorAll("svg").forEach(s => {
    if (s.getAttribute("aria-hidden") === "true") { return; }
    const t = s.querySelector("title"), d = s.querySelector("desc");
    if (s.getAttribute("role") !== "img" || !t || !t.textContent.trim() || !d || !d.textContent.trim()) { out.push("a figure without its text: " + s.outerHTML.slice(0, 80)); }
  });
  return JSON.stringify(out);
})()`

// paper returns what the edge of the sheet would cut off.
const paper = `(() => {
  const out = [], edge = document.documentElement.clientWidth;
  document.querySelectorAll("table, pre, svg, p, figure, h2, h3, .tiles, .caution").forEach(e => {
    const r = e.getBoundingClientRect();
    if (r.width > 0 && (r.right > edge + 1 || r.left < -1)) { out.push("cut off on paper: <" + e.tagName.toLowerCase() + "> " + Math.round(r.right) + " > " + edge + ": " + e.textContent.trim().slice(0, 50)); }
  });
  document.querySelectorAll(".scroll").forEach(e => {
    if (e.scrollWidth > e.clientWidth + 1) { out.push("wider than paper: " + e.textContent.trim().slice(0, 50)); }
  });
  document.querySelectorAll("td, th").forEach(e => {
    if (e.clientWidth > 0 && e.scrollWidth > e.clientWidth + 1) { out.push("text runs out of its cell: " + e.textContent.trim().slice(0, 40)); }
  });
  return JSON.stringify(out);
})()`

// Check opens a page and reports everything that it must not do, at every width
// and on paper. It returns the open tab for tests of the page's own.
func Check(t *testing.T, ctx context.Context, html []byte) context.Context {
	t.Helper()
	address := Address(t, html)
	tab, stop := chromedp.NewContext(ctx)
	t.Cleanup(stop)
	var seen Problems
	if err := seen.Watch(tab, address); err != nil {
		t.Fatal(err)
	}
	if err := chromedp.Run(tab, chromedp.Navigate(address)); err != nil {
		t.Fatal(err)
	}
	for _, width := range Widths {
		if err := chromedp.Run(tab, chromedp.EmulateViewport(width, 900)); err != nil {
			t.Fatal(err)
		}
		for _, p := range Ask(t, tab, layout) {
			t.Errorf("at %d: %s", width, p)
		}
	}
	if err := chromedp.Run(tab, emulation.SetEmulatedMedia().WithMedia("print"), chromedp.EmulateViewport(paperWidth, 1000)); err != nil {
		t.Fatal(err)
	}
	for _, p := range Ask(t, tab, paper) {
		t.Error(p)
	}
	if err := chromedp.Run(tab, emulation.SetEmulatedMedia().WithMedia(""), chromedp.EmulateViewport(1280, 900)); err != nil {
		t.Fatal(err)
	}
	for _, p := range seen.List() {
		t.Error(p)
	}
	return tab
}
