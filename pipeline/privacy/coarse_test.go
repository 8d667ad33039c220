package privacy

import (
	"strings"
	"testing"
)

func TestParseCoarsening(t *testing.T) {
	got, err := ParseCoarsening("privacy.yaml", []byte("privacy: line_1\nage_months: 12\nweight_kg: 2.5\nminutes: 30\n"))
	if want := (Coarsening{"line_1", 12, 2.5, 30}); err != nil || got != want {
		t.Errorf("got %+v, %v; want %+v", got, err, want)
	}
	for text, want := range map[string]string{
		"privacy: a\nages: 12\n":      "ages",
		"age_months: 12\n":            "privacy",
		"privacy: a\nminutes: 45\n":   "divides an hour",
		"privacy: a\nminutes: 1440\n": "60",
		"privacy: a\nweight_kg: 0\n":  "above 0",
		"privacy: a\nage_months: x\n": "age_months",
		"privacy: a\nweight_kg: -1\n": "above 0",
		"[]":                          "keys",
	} {
		if _, err := ParseCoarsening("privacy.yaml", []byte(text)); err == nil || !strings.Contains(err.Error(), "privacy.yaml:") {
			t.Errorf("%q: %v; want a problem with its place, about %s", text, err, want)
		}
	}
}
