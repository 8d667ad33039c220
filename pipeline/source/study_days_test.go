package source

import (
	"testing"
	"time"
)

// De-identified data often state days since the start of a study.
func TestStudyDays(t *testing.T) {
	l, err := ParseLayout("days-since-2000-01-01")
	if err != nil {
		t.Fatal(err)
	}
	if l.Zoned() {
		t.Error("a day number does not state an offset from UTC")
	}
	for text, want := range map[string]string{"0": "2000-01-01T00:00:00Z", "1": "2000-01-02T00:00:00Z", "59.5": "2000-02-29T12:00:00Z", "366": "2001-01-01T00:00:00Z"} {
		m, ok := l.Parse([]byte(text))
		if got := time.UnixMicro(m.Micros).UTC().Format(time.RFC3339); !ok || got != want {
			t.Errorf("%s: got %s (%v), want %s", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "-1", "x", "1e3", "99999999"} {
		if m, ok := l.Parse([]byte(text)); ok {
			t.Errorf("%q gave %v, want a refusal", text, m)
		}
	}
	if _, err := ParseLayout("days-since-yesterday"); err == nil {
		t.Error("a layout without a day was accepted")
	}
}

// Units of laboratory values convert within their kind and no further.
func TestLaboratoryUnits(t *testing.T) {
	unit := func(name string) Unit {
		u, ok := baseUnit(name)
		if !ok {
			t.Fatalf("unit %s is not known", name)
		}
		return u
	}
	if got := unit("g/dl").To(unit("g/l")).Apply(7.5); got != 75 {
		t.Errorf("7.5 g/dl is %v g/l, want 75", got)
	}
	if unit("g/dl").Same(unit("/min")) || unit("percent").Same(unit("score")) {
		t.Error("units of different kinds are taken for the same")
	}
	if got := unit("breaths/min"); got.Name != "/min" {
		t.Errorf("breaths/min is %s, want /min", got.Name)
	}
	for _, name := range []string{"percent", "ph", "score", "ml", "mm", "cm", "mmol/l"} {
		if c := unit(name).To(unit(name)); !c.Identity() {
			t.Errorf("%s to itself is %v", name, c)
		}
	}
}
