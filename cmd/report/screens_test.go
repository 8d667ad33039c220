package main

import (
	"context"
	"flag"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

var update = flag.Bool("update", false, "write the pictures and golden files of testdata anew; refused in CI")

// TestScreens takes the pictures that the README shows, when asked with
// -update: the demonstration line's review on a desk, on a telephone, and each
// printed page. Without the flag it only asks that they are there.
func TestScreens(t *testing.T) {
	names := []string{"review-desktop.png", "review-phone.png", "review-a4-01.png", "review-a4-02.png"}
	if !*update {
		for _, name := range names {
			if info, err := os.Stat(filepath.Join("testdata", name)); err != nil || info.Size() > 400_000 {
				t.Errorf("%s: %v; take it with: go test ./cmd/report -run TestScreens -update", name, err)
			}
		}
		return
	}
	if os.Getenv("CI") == "true" {
		t.Fatal("-update is refused in CI")
	}
	testdata, err := filepath.Abs("testdata")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(testdata, 0o755); err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	run(t, "demo", "--dir", "demo", "--quiet")
	pages, err := filepath.Glob("demo/review/*.html")
	if err != nil || len(pages) != 1 {
		t.Fatalf("pages %v, %v", pages, err)
	}
	path, err := filepath.Abs(pages[0])
	if err != nil {
		t.Fatal(err)
	}
	shoot(t, (&url.URL{Scheme: "file", Path: path}).String(), testdata)
}

func shoot(t *testing.T, address, into string) {
	t.Helper()
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("hide-scrollbars", true))
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	defer stop()
	ctx, stop := chromedp.NewContext(alloc)
	defer stop()
	ctx, stop = context.WithTimeout(ctx, 2*time.Minute)
	defer stop()
	for name, size := range map[string][2]int64{"review-desktop.png": {1240, 1500}, "review-phone.png": {390, 1500}} {
		var picture []byte
		if err := chromedp.Run(ctx, chromedp.EmulateViewport(size[0], size[1]), chromedp.Navigate(address), chromedp.CaptureScreenshot(&picture)); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(into, name), picture, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var pdf []byte
	print := chromedp.ActionFunc(func(ctx context.Context) (err error) {
		pdf, _, err = page.PrintToPDF().WithPreferCSSPageSize(true).WithPrintBackground(true).Do(ctx)
		return err
	})
	if err := chromedp.Run(ctx, chromedp.Navigate(address), print); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("review.pdf", pdf, 0o644); err != nil {
		t.Fatal(err)
	}
	old, err := filepath.Glob(filepath.Join(into, "review-a4-*.png"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range old {
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
	}
	if msg, err := exec.Command("pdftoppm", "-r", "70", "-png", "review.pdf", filepath.Join(into, "review-a4")).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm (package poppler-utils): %v: %s", err, msg)
	}
}
