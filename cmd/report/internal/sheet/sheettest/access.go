package sheettest

import (
	"archive/tar"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"
)

// The accessibility rules are axe-core's (Deque Systems, Mozilla Public License
// 2.0), used in tests only and never shipped. One version is pinned by the
// registry's own hash, fetched once with npm and kept in the user's cache.
const (
	axeVersion   = "4.14.1"
	axeIntegrity = "sha512-FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="
)

var axe = sync.OnceValues(func() (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", err
	}
	dir := filepath.Join(cache, "hindcheck-tests")
	file := filepath.Join(dir, "axe-core-"+axeVersion+".tgz")
	data, err := os.ReadFile(file)
	if errors.Is(err, os.ErrNotExist) {
		if data, err = fetchAxe(dir, file); err != nil {
			return "", err
		}
	}
	if err != nil {
		return "", err
	}
	sum := sha512.Sum512(data)
	if got := "sha512-" + base64.StdEncoding.EncodeToString(sum[:]); got != axeIntegrity {
		return "", fmt.Errorf("%s: hash %s, want %s; delete the file", file, got, axeIntegrity)
	}
	return unpack(data, "package/axe.min.js")
})

func fetchAxe(dir, file string) ([]byte, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	cmd := exec.Command("npm", "pack", "--silent", "axe-core@"+axeVersion)
	cmd.Dir = dir
	if said, err := cmd.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("npm pack axe-core: %w: %s", err, strings.TrimSpace(string(said)))
	}
	return os.ReadFile(file)
}

// unpack returns one file of a compressed archive.
func unpack(data []byte, name string) (string, error) {
	z, err := gzip.NewReader(strings.NewReader(string(data)))
	if err != nil {
		return "", err
	}
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if err != nil {
			return "", fmt.Errorf("%s: %w", name, err)
		}
		if h.Name == name {
			text, err := io.ReadAll(r)
			return string(text), err
		}
	}
}

// Access reports every failing item of the accessibility rules on an open page,
// at the width of a telephone and of a desk. It skips where the rules cannot be
// fetched, and fails in CI.
func Access(t *testing.T, tab context.Context) {
	t.Helper()
	script, err := axe()
	if err != nil {
		missing(t, "no accessibility rules: "+err.Error()+"; install npm, or put axe-core-"+axeVersion+".tgz into the cache folder")
	}
	if err := chromedp.Run(tab, chromedp.Evaluate(script+";true", nil)); err != nil {
		t.Fatal(err)
	}
	for _, width := range []int64{390, 1280} {
		if err := chromedp.Run(tab, chromedp.EmulateViewport(width, 900), chromedp.Evaluate(`window.dispatchEvent(new Event("resize"))`, nil)); err != nil {
			t.Fatal(err)
		}
		for _, p := range Ask(t, tab, `axe.run(document, {resultTypes: ["violations"]}).then(r => JSON.stringify(r.violations.flatMap(v =>
			v.nodes.slice(0, 5).map(n => v.id + " (" + v.impact + "): " + v.help + ": " + n.html.slice(0, 160)))))`) {
			t.Errorf("at %d: %s", width, p)
		}
	}
	var rules struct{ Passes int }
	var text string
	if err := chromedp.Run(tab, chromedp.Evaluate(`JSON.stringify({passes: axe.getRules().length})`, &text)); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(text), &rules); err != nil || rules.Passes < 50 {
		t.Errorf("only %d rules were asked, %v", rules.Passes, err)
	}
}
