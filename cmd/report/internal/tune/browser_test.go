package tune

import (
	"bytes"
	"testing"

	"hindcheck/cmd/report/internal/sheet/sheettest"
)

// The page in a real browser: quiet, within every width, legible without eyes.
func TestInBrowser(t *testing.T) {
	ctx := sheettest.Browser(t)
	for name, r := range map[string]*Result{
		"cats": build(t, cats(t), options("extra=1")), "nobody followed up": build(t, line(t, kind{2, 65, 10, 1, 1, 1, 3, 0}, kind{9, 20, 10, 1, -1, 0, 1, 0}), options("extra=1")),
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			if err := HTML(&b, r); err != nil {
				t.Fatal(err)
			}
			sheettest.Access(t, sheettest.Check(t, ctx, b.Bytes()))
		})
	}
}
