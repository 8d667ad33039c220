package metrics

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
)

// Outside check values live in testdata/<subject>.json. A file is an object
// with a list "cases"; a case has
//
//	id, title   short names
//	source      where inputs or method come from (author, year, journal)
//	label       "published", "recomputed", "by hand" or "from memory"
//	obtained    how the expected values were got (program and version, or "by hand")
//	tolerance   {"abs": a, "rel": r}: |got - want| <= a, or <= r * |want|
//	inputs      whatever the test decodes
//	expected    flat map: number, list of numbers, null (must not be estimable),
//	            "Inf", true/false or text
//	printed     optional: figures as printed, {"key": {"value": "0.90", "label": ...,
//	            "seen": ...}}; held to half a unit of the last printed digit
//
// A test reads the keys it checks through the methods below and ends with
// allRead, so that a value nobody compares is a failure, not an oversight.
type checkCase struct {
	ID, Title, Source, Label, Obtained string
	Tolerance                          struct{ Abs, Rel float64 }
	Inputs                             json.RawMessage
	Expected                           map[string]any
	Printed                            map[string]struct{ Value, Label, Seen string }
	read                               map[string]bool
}

var checkLabels = map[string]bool{"published": true, "recomputed": true, "by hand": true, "from memory": true}

// readChecks loads testdata/<subject>.json and refuses a case without source,
// known label, tolerance or expectation.
func readChecks(t *testing.T, subject string) []*checkCase {
	t.Helper()
	path := filepath.Join("testdata", subject+".json")
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Cases []*checkCase }
	if err := json.Unmarshal(raw, &file); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	if len(file.Cases) == 0 {
		t.Fatalf("%s: no cases", path)
	}
	seen := map[string]bool{}
	for _, c := range file.Cases {
		switch {
		case c.ID == "" || seen[c.ID]:
			t.Fatalf("%s: case id %q is empty or double", path, c.ID)
		case c.Source == "" || !checkLabels[c.Label]:
			t.Fatalf("%s: %s: source %q, label %q", path, c.ID, c.Source, c.Label)
		case c.Tolerance.Abs <= 0 && c.Tolerance.Rel <= 0:
			t.Fatalf("%s: %s: no tolerance", path, c.ID)
		case len(c.Expected) == 0:
			t.Fatalf("%s: %s: nothing expected", path, c.ID)
		}
		seen[c.ID] = true
		c.read = map[string]bool{}
	}
	return file.Cases
}

// checkByID picks one case of a subject.
func checkByID(t *testing.T, subject, id string) *checkCase {
	t.Helper()
	for _, c := range readChecks(t, subject) {
		if c.ID == id {
			return c
		}
	}
	t.Fatalf("testdata/%s.json has no case %s", subject, id)
	return nil
}

// input decodes the case's inputs into v, a pointer to a struct with json tags.
func (c *checkCase) input(t *testing.T, v any) {
	t.Helper()
	if err := json.Unmarshal(c.Inputs, v); err != nil {
		t.Fatalf("%s: inputs: %v", c.ID, err)
	}
}

// has reports whether the case expects something (null included) under key.
func (c *checkCase) has(key string) bool { _, ok := c.Expected[key]; return ok }

// raw is the expectation under key, which must exist, and marks it as read.
func (c *checkCase) raw(t *testing.T, key string) any {
	t.Helper()
	v, ok := c.Expected[key]
	if !ok {
		t.Fatalf("%s: no expected value %q", c.ID, key)
	}
	c.read[key] = true
	return v
}

// number is the expected number under key.
func (c *checkCase) number(t *testing.T, key string) float64 {
	t.Helper()
	switch v := c.raw(t, key).(type) {
	case float64:
		return v
	case string:
		f, err := strconv.ParseFloat(v, 64)
		if err == nil {
			return f
		}
	}
	t.Fatalf("%s: %s is not a number: %v", c.ID, key, c.Expected[key])
	return 0
}

// numbers is the expected list of numbers under key.
func (c *checkCase) numbers(t *testing.T, key string) []float64 {
	t.Helper()
	list, ok := c.raw(t, key).([]any)
	if !ok {
		t.Fatalf("%s: %s is not a list", c.ID, key)
	}
	out := make([]float64, len(list))
	for i, v := range list {
		f, ok := v.(float64)
		if !ok {
			t.Fatalf("%s: %s[%d] is not a number: %v", c.ID, key, i, v)
		}
		out[i] = f
	}
	return out
}

// within reports whether got agrees with want in the case's tolerance.
func (c *checkCase) within(got, want float64) bool {
	d := math.Abs(got - want)
	return got == want || d <= c.Tolerance.Abs || d <= c.Tolerance.Rel*math.Abs(want)
}

// near compares got with the expected and, where there is one, the printed
// figure under key.
func (c *checkCase) near(t *testing.T, key string, got float64) {
	t.Helper()
	if want := c.number(t, key); !c.within(got, want) {
		t.Errorf("%s (%s): %s = %.15g, want %.15g", c.ID, c.Title, key, got, want)
	}
	if p, ok := c.Printed[key]; ok {
		c.nearPrinted(t, key, p.Value, got)
	}
}

// nearPrinted holds got to half a unit of the last printed digit.
func (c *checkCase) nearPrinted(t *testing.T, key, printed string, got float64) {
	t.Helper()
	want, err := strconv.ParseFloat(printed, 64)
	if err != nil {
		t.Fatalf("%s: printed %s: %v", c.ID, key, err)
	}
	digits := 0
	if _, frac, ok := strings.Cut(printed, "."); ok {
		digits = len(frac)
	}
	if math.Abs(got-want) > 0.5*math.Pow10(-digits)*(1+1e-6) {
		t.Errorf("%s (%s): %s = %.10g, printed %s", c.ID, c.Title, key, got, printed)
	}
}

// nearAll compares a list.
func (c *checkCase) nearAll(t *testing.T, key string, got []float64) {
	t.Helper()
	want := c.numbers(t, key)
	if len(got) != len(want) {
		t.Errorf("%s: %s has %d values, want %d", c.ID, key, len(got), len(want))
		return
	}
	for i := range got {
		if !c.within(got[i], want[i]) {
			t.Errorf("%s (%s): %s[%d] = %.15g, want %.15g", c.ID, c.Title, key, i, got[i], want[i])
		}
	}
}

// estimate compares value and limits with the keys <valueKey>, <limits>.lower
// and <limits>.upper. A null value (or "Inf") must be not estimable; null limits
// beside a value must be marked unbounded. An empty limits compares the value
// only.
func (c *checkCase) estimate(t *testing.T, valueKey, limits string, e Estimate) {
	t.Helper()
	want := c.raw(t, valueKey)
	keys := []string{}
	if limits != "" {
		keys = []string{limits + ".lower", limits + ".upper"}
	}
	if want == nil || want == "Inf" {
		if e.Estimable() {
			t.Errorf("%s (%s): %s is %v, want not estimable", c.ID, c.Title, valueKey, e)
		}
		for _, k := range keys {
			if c.raw(t, k) != nil {
				t.Errorf("%s: %s expected beside a missing value", c.ID, k)
			}
		}
		return
	}
	if !e.Estimable() {
		t.Errorf("%s (%s): %s not estimable: %s", c.ID, c.Title, valueKey, e.NotEstimable)
		return
	}
	c.near(t, valueKey, e.Value)
	if limits == "" {
		return
	}
	if c.raw(t, keys[0]) == nil {
		if !e.HighUnbounded && !e.LowUnbounded {
			t.Errorf("%s (%s): %s has limits %v to %v, want none", c.ID, c.Title, limits, e.Low, e.High)
		}
		c.raw(t, keys[1])
		return
	}
	c.near(t, keys[0], e.Low)
	c.near(t, keys[1], e.High)
}

// skip marks keys with a prefix as deliberately not compared, with the reason
// in the call.
func (c *checkCase) skip(reason string, prefixes ...string) {
	if reason == "" {
		panic("skip needs a reason")
	}
	for k := range c.Expected {
		for _, p := range prefixes {
			if strings.HasPrefix(k, p) {
				c.read[k] = true
			}
		}
	}
}

// allRead fails for every expected value that no comparison has read.
func (c *checkCase) allRead(t *testing.T) {
	t.Helper()
	var missed []string
	for k := range c.Expected {
		if !c.read[k] {
			missed = append(missed, k)
		}
	}
	sort.Strings(missed)
	if len(missed) > 0 {
		t.Errorf("%s: expected values never compared: %s", c.ID, strings.Join(missed, ", "))
	}
}

// checkSane is the part of the property battery that every proportion must
// pass: finite, value inside the limits, limits inside [lo, hi].
func checkSane(t *testing.T, name string, e Estimate, lo, hi float64) {
	t.Helper()
	for _, v := range []float64{e.Value, e.Low, e.High, e.Numerator, e.Denominator} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Errorf("%s: not finite: %+v", name, e)
			return
		}
	}
	if !e.Estimable() {
		if e.Value != 0 || e.Low != 0 || e.High != 0 {
			t.Errorf("%s: not estimable but has figures: %+v", name, e)
		}
		return
	}
	if e.Value < lo || e.Value > hi {
		t.Errorf("%s: value outside [%v, %v]: %+v", name, lo, hi, e)
	}
	if !e.LowUnbounded && (e.Low > e.Value || e.Low < lo) {
		t.Errorf("%s: lower limit: %+v", name, e)
	}
	if !e.HighUnbounded && (e.High < e.Value || e.High > hi) {
		t.Errorf("%s: upper limit: %+v", name, e)
	}
}
