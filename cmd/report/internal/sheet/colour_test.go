package sheet

import (
	"math"
	"regexp"
	"strconv"
	"testing"
)

// luminance is the relative luminance of a colour (W3C 2018, Web Content
// Accessibility Guidelines 2.1, definition "relative luminance").
func luminance(hex uint64) float64 {
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		c := float64(hex>>(16-8*i)&0xff) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum
}

// contrast is the contrast ratio of the same guidelines, 1 to 21.
func contrast(a, b float64) float64 { return (math.Max(a, b) + 0.05) / (math.Min(a, b) + 0.05) }

// palette reads the colours of the style sheet.
func palette(t *testing.T) map[string]float64 {
	t.Helper()
	text, err := joined("style")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]float64{"paper": 1}
	for _, m := range regexp.MustCompile(`--(\w+): #([0-9a-f]{6})|\.(p\d) \{ fill: #([0-9a-f]{6})`).FindAllStringSubmatch(text, -1) {
		n, err := strconv.ParseUint(m[2]+m[4], 16, 32)
		if err != nil {
			t.Fatal(err)
		}
		out[m[1]+m[3]] = luminance(n)
	}
	return out
}

// Without colour, as on a grey printer, text keeps the contrast that small text
// needs (4.5, level AA), and neighbouring shades of a bar differ.
func TestWithoutColour(t *testing.T) {
	p := palette(t)
	if math.Abs(contrast(luminance(0), luminance(0xffffff))-21) > 1e-9 {
		t.Fatal("black on white is 21")
	}
	for _, ink := range []string{"ink", "muted", "mark", "alert"} {
		for _, ground := range []string{"paper", "wash", "band"} {
			if c := contrast(p[ink], p[ground]); p[ink] == 0 || p[ground] == 0 || c < 4.5 {
				t.Errorf("%s on %s: contrast %.2f, want 4.5", ink, ground, c)
			}
		}
	}
	p["p1"] = 1
	for _, pair := range [][2]string{{"p0", "p1"}, {"p1", "p2"}, {"p2", "p3"}, {"p3", "p4"}} {
		if c := contrast(p[pair[0]], p[pair[1]]); c < 1.2 {
			t.Errorf("%s beside %s: contrast %.2f", pair[0], pair[1], c)
		}
	}
}
