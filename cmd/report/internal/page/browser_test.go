package page

import (
	"bytes"
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

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"hindcheck/cmd/report/internal/review"
)

// browser opens pages in a headless browser; it skips where none is installed
// and fails in CI, where one must be.
func browser(t *testing.T) context.Context {
	t.Helper()
	found := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			found = path
			break
		}
	}
	if found == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("no browser; install chromium")
		}
		t.Skip("no browser; install chromium")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(found), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-dev-shm-usage", true))
	alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, stop := chromedp.NewContext(alloc)
	ctx, cancel := context.WithTimeout(ctx, 2*time.Minute)
	t.Cleanup(func() { cancel(); stop(); stopAlloc() })
	return ctx
}

// write puts a page into a file and gives its address.
func write(t *testing.T, r *review.Review) string {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, r); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "review.html")
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return (&url.URL{Scheme: "file", Path: path}).String()
}

// problems gathers what a reader would not see: messages on the console and
// requests beyond the file itself.
type problems struct {
	mu   sync.Mutex
	list []string
}

func (p *problems) watch(ctx context.Context, page string) {
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
			if ev.Request.URL != page && !strings.HasPrefix(ev.Request.URL, "data:") {
				add("request: " + ev.Request.URL)
			}
		}
	})
}

// layout returns what overlaps or leaves its frame, in the page's own words:
// text boxes of one figure that overlap, text outside its figure, and content
// wider than the window that no frame scrolls.
const layout = `(() => {
  const out = [];
  document.querySelectorAll("details").forEach(d => { d.open = true; });
  document.querySelectorAll("svg[role=img]").forEach(svg => {
    const frame = svg.getBoundingClientRect();
    if (frame.width === 0) { return; }
    const texts = Array.from(svg.querySelectorAll("text")).map(t => ({t: t.textContent, r: t.getBoundingClientRect()}));
    texts.forEach((a, i) => {
      if (a.r.left < frame.left - 1 || a.r.right > frame.right + 1 || a.r.top < frame.top - 2 || a.r.bottom > frame.bottom + 2) {
        out.push("outside: " + svg.id + " " + a.t);
      }
      texts.slice(i + 1).forEach(b => {
        if (a.r.left < b.r.right - 0.5 && b.r.left < a.r.right - 0.5 && a.r.top < b.r.bottom - 1 && b.r.top < a.r.bottom - 1) {
          out.push("overlap: " + a.t + " / " + b.t);
        }
      });
    });
  });
  if (document.documentElement.scrollWidth > window.innerWidth) { out.push("page wider than the window: " + document.documentElement.scrollWidth + " > " + window.innerWidth); }
  const hidden = [];
  document.querySelectorAll("td, th, p, li, dd").forEach(e => {
    if (e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX === "visible" && !e.closest(".scroll")) { hidden.push(e.textContent.slice(0, 40)); }
  });
  hidden.forEach(h => out.push("text runs out of its box: " + h));
  const frames = Array.from(document.querySelectorAll("svg.trend")).filter(s => s.getBoundingClientRect().width > 0).length;
  if (document.querySelector("svg.trend") && frames !== 1) { out.push("trends shown: " + frames); }
  return JSON.stringify(out);
})()`

func TestInBrowser(t *testing.T) {
	ctx := browser(t)
	all := edges(t)
	reviews := map[string]*review.Review{"year": yearReview(t), "no calls": all["no calls"], "one missed case": all["one missed case"]}
	for name, r := range reviews {
		page := write(t, r)
		tab, stop := chromedp.NewContext(ctx)
		var seen problems
		seen.watch(tab, page)
		if err := chromedp.Run(tab, network.Enable(), runtime.Enable(), chromedp.Navigate(page)); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, size := range []struct{ w, h int64 }{{360, 800}, {768, 1024}, {1280, 900}} {
			var found string
			if err := chromedp.Run(tab, chromedp.EmulateViewport(size.w, size.h), chromedp.Evaluate(layout, &found)); err != nil {
				t.Fatalf("%s at %d: %v", name, size.w, err)
			}
			var list []string
			if err := json.Unmarshal([]byte(found), &list); err != nil {
				t.Fatal(err)
			}
			for _, p := range list {
				t.Errorf("%s at %d: %s", name, size.w, p)
			}
		}
		seen.mu.Lock()
		for _, p := range seen.list {
			t.Errorf("%s: %s", name, p)
		}
		seen.mu.Unlock()
		stop()
	}
}

// Tables sort by number, not by text, and back.
func TestTablesSort(t *testing.T) {
	ctx := browser(t)
	page := write(t, yearReview(t))
	const column = `JSON.stringify(Array.from(document.querySelectorAll("table.flags")[0].tBodies[0].rows).map(r => parseFloat(r.cells[1].getAttribute("data-sort"))))`
	var before, down, up string
	var sorted string
	err := chromedp.Run(ctx, chromedp.Navigate(page), chromedp.Evaluate(column, &before),
		chromedp.Evaluate(`document.querySelectorAll("table.flags")[0].querySelectorAll(".sort")[1].click()`, nil),
		chromedp.Evaluate(column, &down),
		chromedp.Evaluate(`document.querySelectorAll("table.flags")[0].querySelector("th[aria-sort]").getAttribute("aria-sort")`, &sorted),
		chromedp.Evaluate(`document.querySelectorAll("table.flags")[0].querySelectorAll(".sort")[1].click()`, nil),
		chromedp.Evaluate(column, &up))
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
	if sorted != "descending" || before == down {
		t.Errorf("aria-sort %q, before %s", sorted, before)
	}
}
