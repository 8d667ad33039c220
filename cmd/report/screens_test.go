package main

import (
	"flag"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/chromedp/chromedp"

	"hindcheck/cmd/report/internal/sheet"
	"hindcheck/cmd/report/internal/sheet/sheettest"
)

var update = flag.Bool("update", false, "write the pictures and golden files of testdata anew; refused in CI")

// pictures are what testdata holds: a desk, a telephone, the first printed
// sheet, and the summary of two.
var pictures = []string{"review-desktop.png", "review-phone.png", "review-a4-1.png", "summary-a4-1.png", "summary-a4-2.png"}

// TestScreens takes the pictures that the README shows, when asked with
// -update, of the demonstration line's review. Without the flag it only asks
// that they are there and small.
func TestScreens(t *testing.T) {
	if !*update {
		for _, name := range pictures {
			if info, err := os.Stat(filepath.Join("testdata", name)); err != nil || info.Size() > 400_000 {
				t.Errorf("%s: %v; take it with: go test ./cmd/report -run TestScreens -update", name, err)
			}
		}
		return
	}
	if os.Getenv("CI") == "true" {
		t.Fatal("-update is refused in CI")
	}
	t.Chdir(t.TempDir())
	run(t, "demo", "--dir", "demo", "--quiet")
	into := filepath.Join(sourceDir, "testdata")
	for name, sheets := range map[string]int{"review": 1, "summary": 2} {
		found, err := filepath.Glob("demo/review/" + name + "-*.html")
		if err != nil || len(found) != 1 {
			t.Fatalf("pages %v, %v", found, err)
		}
		pdf := name + ".pdf"
		if err := sheet.Print(t.Context(), found[0], pdf, sheet.PrintOptions{}); err != nil {
			t.Fatal(err)
		}
		if msg, err := exec.Command("pdftoppm", "-r", "80", "-l", strconv.Itoa(sheets), "-sep", "-", "-png", pdf, name).CombinedOutput(); err != nil {
			t.Fatalf("pdftoppm (package poppler-utils): %v: %s", err, msg)
		}
		for i := 1; i <= sheets; i++ {
			one, err := filepath.Glob(fmt.Sprintf("%s-*%d.png", name, i))
			if err != nil || len(one) != 1 {
				t.Fatalf("sheet %d of %s: %v, %v", i, name, one, err)
			}
			if err := os.Rename(one[0], filepath.Join(into, fmt.Sprintf("%s-a4-%d.png", name, i))); err != nil {
				t.Fatal(err)
			}
		}
		if name == "review" {
			shoot(t, found[0], into)
		}
	}
}

// shoot takes the page on a desk and on a telephone.
func shoot(t *testing.T, file, into string) {
	t.Helper()
	path, err := filepath.Abs(file)
	if err != nil {
		t.Fatal(err)
	}
	ctx := sheettest.Browser(t)
	for name, size := range map[string][2]int64{"review-desktop.png": {1240, 1500}, "review-phone.png": {390, 1500}} {
		var picture []byte
		if err := chromedp.Run(ctx, chromedp.EmulateViewport(size[0], size[1]), chromedp.Navigate((&url.URL{Scheme: "file", Path: path}).String()), chromedp.CaptureScreenshot(&picture)); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(into, name), picture, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
