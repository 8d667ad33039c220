package rules

import (
	"testing"

	"hindcheck/pipeline/codes"
)

// Two conditions, refill of two seconds and a white gum, in cats only; what
// the dictionary calls near a refill time is half a second.
func TestExplain(t *testing.T) {
	p := compiled(t, parse(t, when("{finding: capillary_refill_s, at_least: 2}\n      - {finding: gum_colour, is: [white]}\n    species: [cat]")))
	for name, c := range map[string]struct {
		species   string
		refill    int32
		gum       int32
		result    codes.Tri
		short     float64
		justShort bool
	}{
		"fires":                  {"cat", 20, 3, codes.Yes, 0, false},
		"half a second short":    {"cat", 15, 3, codes.No, 0.5, true},
		"too far":                {"cat", 14, 3, codes.No, 0.6, false},
		"short, the other no":    {"cat", 15, 1, codes.No, 0.5, false},
		"short, the other blank": {"cat", 15, codes.NotAsked, codes.No, 0.5, false},
		"a code is never short":  {"cat", 20, 1, codes.No, 0, false},
		"unknown":                {"cat", codes.Declined, 3, codes.Unknown, 0, false},
		"another species":        {"dog", 15, 3, codes.No, 0.5, false},
		"species not recorded":   {"", 15, 3, codes.No, 0.5, false},
	} {
		r := Record{Species: c.species, AgeMonths: -1, Values: values(map[string]int32{"capillary_refill_s": c.refill, "gum_colour": c.gum})}
		x := p.Explain(0, &r)
		if x.Result != c.result || len(x.Conditions) != 2 || x.Conditions[0].Finding != "capillary_refill_s" || x.Conditions[0].Short != c.short ||
			x.Conditions[1].Value != c.gum || p.JustShort(x) != c.justShort {
			t.Errorf("%s: %+v, just short %v", name, x, p.JustShort(x))
		}
	}
}
