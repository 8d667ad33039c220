package page

import (
	"bytes"
	"context"
	"os"
	"testing"
	"time"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/queries/queriestest"
)

func TestLook(t *testing.T) {
	d := queriestest.Year(t, 20000, 0.08)
	r, err := review.Build(context.Background(), d, review.Options{Confidence: 0.95, Lag: 45 * 24 * time.Hour, MinVerified: 10, UnderLimit: 0.05, OverLimit: 0.5, LimitSource: "test", Draws: 1000})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := HTML(&b, r); err != nil {
		t.Fatal(err)
	}
	os.WriteFile("/tmp/hc/q/look.html", b.Bytes(), 0o644)
}
