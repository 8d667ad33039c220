package sheet

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"time"
)

// ErrNoBrowser is wrapped by the error of Print where no Chromium was found.
var ErrNoBrowser = errors.New("no browser to print with")

// Browsers are the programs that Print looks for, in this order.
var Browsers = []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome"}

// PrintOptions say with what a page is printed.
type PrintOptions struct {
	// Browser is the path of a Chromium; empty looks for one in PATH.
	Browser string
	// Timeout ends a browser that does not come back; 0 is two minutes.
	Timeout time.Duration
	// Made is the time that the file names as its own, so that the same page
	// gives the same bytes on any day; the zero time leaves the clock's.
	Made time.Time
}

// Print turns the HTML file at page into the PDF file at to. It starts a
// Chromium of its own: without window, with a profile of its own that is
// removed afterwards, and without a way into the network. The file appears
// whole or not at all.
func Print(ctx context.Context, page, to string, opt PrintOptions) error {
	browser, err := findBrowser(opt.Browser)
	if err != nil {
		return fmt.Errorf("print %s: %w", filepath.Base(page), err)
	}
	if opt.Timeout == 0 {
		opt.Timeout = 2 * time.Minute
	}
	profile, err := os.MkdirTemp("", "hindcheck-print-")
	if err != nil {
		return fmt.Errorf("print: %w", err)
	}
	defer os.RemoveAll(profile)
	out := filepath.Join(profile, "page.pdf")
	if err := startBrowser(ctx, browser, page, profile, out, opt.Timeout); err != nil {
		return fmt.Errorf("print %s with %s: %w", filepath.Base(page), browser, err)
	}
	data, err := os.ReadFile(out)
	if err != nil || !bytes.HasPrefix(data, []byte("%PDF-")) {
		return fmt.Errorf("print %s: %s wrote no PDF; open the page in a browser and print it from there", filepath.Base(page), browser)
	}
	return place(to, dated(data, opt.Made))
}

// findBrowser returns the program to start.
func findBrowser(named string) (string, error) {
	if named != "" {
		path, err := exec.LookPath(named)
		if err != nil {
			return "", fmt.Errorf("%w: %s cannot be started (%w); name another with --browser, or print the page from any browser", ErrNoBrowser, named, err)
		}
		return path, nil
	}
	for _, name := range Browsers {
		if path, err := exec.LookPath(name); err == nil {
			return path, nil
		}
	}
	return "", fmt.Errorf("%w: none of %s is in the PATH; install chromium (Debian: apt-get install chromium), name it with --browser, or print the page from any browser",
		ErrNoBrowser, strings.Join(Browsers, ", "))
}

func startBrowser(ctx context.Context, browser, page, profile, out string, timeout time.Duration) error {
	path, err := filepath.Abs(page)
	if err != nil {
		return err
	}
	args := []string{
		"--headless", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--no-default-browser-check", "--disable-extensions",
		"--disable-background-networking", "--disable-component-update", "--disable-sync", "--host-resolver-rules=MAP * ~NOTFOUND",
		"--no-pdf-header-footer", "--user-data-dir=" + profile, "--print-to-pdf=" + out,
	}
	if os.Geteuid() == 0 {
		// Chromium's sandbox refuses to run as root, as in a container.
		args = append(args, "--no-sandbox")
	}
	ctx, stop := context.WithTimeout(ctx, timeout)
	defer stop()
	cmd := exec.CommandContext(ctx, browser, append(args, (&url.URL{Scheme: "file", Path: filepath.ToSlash(path)}).String())...)
	cmd.WaitDelay = 5 * time.Second
	said, err := cmd.CombinedOutput()
	switch {
	case errors.Is(ctx.Err(), context.DeadlineExceeded):
		return fmt.Errorf("not done after %s and stopped; print the page from any browser", timeout)
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		return fmt.Errorf("%w: %s", err, lastLine(said))
	}
	return nil
}

func lastLine(b []byte) string {
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	return lines[len(lines)-1]
}

// clockTime is how Chromium writes when a file was made.
var clockTime = regexp.MustCompile(`/(CreationDate|ModDate) \(D:[0-9]{14}`)

// dated replaces the time of the clock by a given one. Both have one length,
// so the offsets in the file stay true.
func dated(pdf []byte, made time.Time) []byte {
	if made.IsZero() {
		return pdf
	}
	return clockTime.ReplaceAll(pdf, []byte("/$1 (D:"+made.UTC().Format("20060102150405")))
}

// place writes a file whole or not at all.
func place(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err := errors.Join(err, f.Chmod(0o644), f.Close()); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return os.Rename(f.Name(), path)
}
