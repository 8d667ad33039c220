package thresholds

import (
	"bytes"
	"testing"

	"hindcheck/cmd/report/internal/sheet/sheettest"
)

// The page in a real browser: quiet, within every width, legible without eyes.
func TestInBrowser(t *testing.T) {
	ctx := sheettest.Browser(t)
	unseen, db := small(t, rulesText)
	fill(t, db, kind{2, "cat", "home", "breathing_rate", 65, 1, 1, 3}, kind{5, "cat", "home", "breathing_rate", 30, -1, 0, 1})
	for name, r := range map[string]*Result{
		"cats": build(t, cats(t), options("breathing_rate", "youden", "referrals=0.1")), "nobody followed up": build(t, unseen, options("breathing_rate", "youden")),
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
