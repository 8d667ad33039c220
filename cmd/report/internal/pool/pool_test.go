package pool

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"hindcheck/cmd/report/internal/review"
)

// shareOf makes a share with limits.
func shareOf(v, low, high float64) review.Figure {
	return review.Figure{Estimate: &v, Low: &low, High: &high, Conf: 0.95}
}

// line makes the review of a line with one flag, as far as counts need it.
func line(tp, fp, fn, tn, flagTP int64) *review.Review {
	r := &review.Review{Unit: "episode", CaseDefinition: "def", RuleSet: "rules_1", Period: review.Period{From: "2025-09", To: "2026-08"}}
	r.Standard.Confidence = 0.95
	for _, cut := range []string{"same_day", "emergency"} {
		a := review.Accuracy{Sensitivity: shareOf(0.9, 0.8, 0.95), Specificity: shareOf(0.7, 0.6, 0.8)}
		t := review.Test{Index: "advice", Cut: cut, Verified: review.Cells{TP: tp, FP: fp, FN: fn, TN: tn}, Unverified: review.Sides{Present: 100, Absent: 900}, Corrected: a}
		r.Advice = append(r.Advice, t)
		t.Index = "rules"
		r.Rules = append(r.Rules, t)
		f := review.Flag{Flag: "collapse", Title: "Collapsed", Corrected: a}
		f.Counts.Verified = review.Cells{TP: flagTP, FP: 30, FN: tp + fn - flagTP, TN: fp + tn - 30}
		f.Counts.Unverified = review.Sides{Present: 40, Absent: 960}
		r.Flags = append(r.Flags, review.Flags{Cut: cut, Flags: []review.Flag{f}})
	}
	return r
}

func counts(t *testing.T, name string, r *review.Review) *Counts {
	t.Helper()
	c, err := FromReview(r, name, 5)
	if err != nil {
		t.Fatal(err)
	}
	// What is pooled has been through a file.
	text, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	back, err := Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return back
}

func TestCountsHideSmallCells(t *testing.T) {
	c := counts(t, "north", line(200, 80, 20, 300, 3))
	for _, table := range c.Tables {
		hidden := 0
		for _, row := range table.Cells {
			for _, n := range row {
				if n == nil {
					hidden++
				} else if *n > 0 && *n < 5 {
					t.Errorf("%s %s: a cell of %d is shown", table.Index, table.Flag, *n)
				}
			}
		}
		small := table.Index == "flag"
		if (hidden > 0) != small || small && hidden < 4 {
			t.Errorf("%s at %s: %d cells hidden", table.Index, table.Cut, hidden)
		}
		if small && table.Corrected.Sensitivity.Estimate != nil {
			t.Error("a rate stands beside a hidden count: count = rate * n")
		}
	}
	schema := jsonschema.NewCompiler()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	if err := schema.AddResource("counts.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := schema.Compile("counts.json")
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Validate(v); err != nil {
		t.Error(err)
	}
}

// Pooling what Kriston 2008 would read off: the pooling itself is tested in
// metrics; here five lines of equal truth must give that truth, and hidden
// counts must drop out of the naive figure, not count as 0.
func TestPool(t *testing.T) {
	var lines []*Counts
	for i, name := range []string{"a", "b", "c", "d", "e"} {
		flag := int64(60)
		if name == "b" {
			flag = 2
		}
		lines = append(lines, counts(t, name, line(180+int64(i), 80, 20, 320, flag)))
	}
	r, err := Pool(lines, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Pools) != 6 || len(r.Lines) != 5 || r.Lines[1].Hidden == 0 || r.Lines[0].Hidden != 0 {
		t.Fatalf("%d pools, lines %+v", len(r.Pools), r.Lines)
	}
	for _, p := range r.Pools {
		n := p.Naive.Sensitivity
		switch p.Index {
		case "advice":
			if n.Lines != 5 || math.Abs(*n.Summary.Estimate-0.9) > 0.01 || !strings.Contains(n.Summary.Method, "bivariate") && !strings.Contains(n.Summary.Method, "binomial") {
				t.Errorf("advice: %+v", n)
			}
			if c := p.Corrected.Sensitivity; c.Lines != 5 || math.Abs(*c.Summary.Estimate-0.9) > 1e-6 || *c.Tau2 > 1e-9 || !c.Prediction.Estimable() {
				t.Errorf("advice corrected: %+v", c)
			}
		case "flag":
			if n.Lines != 4 || p.Lines[1].TP != nil || p.Lines[1].Naive.Sensitivity.Estimable() || !p.Lines[0].Naive.Sensitivity.Estimable() {
				t.Errorf("flag: %+v, line b %+v", n, p.Lines[1])
			}
		}
	}
	for _, write := range []func(*bytes.Buffer) error{func(b *bytes.Buffer) error { return Text(b, r) }, func(b *bytes.Buffer) error { return HTML(b, r) }} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"a further line", "collapse", "diagnosis", "hidden"} {
			if !strings.Contains(b.String(), want) {
				t.Errorf("no %q in %.200s", want, b.String())
			}
		}
	}
	var b bytes.Buffer
	if err := CSV(&b, r); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 1+6*2*(5*2+4) {
		t.Errorf("%d rows of CSV, %v", len(rows), err)
	}
}

func TestPoolSaysWhatDiffersAndRefusesTwice(t *testing.T) {
	one, two := counts(t, "a", line(180, 80, 20, 320, 60)), counts(t, "b", line(180, 80, 20, 320, 60))
	two.CaseDefinition = "another"
	r, err := Pool([]*Counts{one, two}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if all := strings.Join(r.Remarks, "\n"); !strings.Contains(all, "different case definitions (def; another)") || !strings.Contains(all, "2 lines") {
		t.Errorf("remarks %q", all)
	}
	if p := r.Pools[0].Corrected.Sensitivity.Prediction; p.Estimable() {
		t.Errorf("two lines predict a third: %+v", p)
	}
	if _, err := Pool([]*Counts{one}, 0.95); err == nil {
		t.Error("one line pooled")
	}
	if _, err := Pool([]*Counts{one, one}, 0.95); err == nil || !strings.Contains(err.Error(), "twice") {
		t.Errorf("the same line twice: %v", err)
	}
}

// Two files one episode apart would give that episode away by subtraction.
func TestCountsApart(t *testing.T) {
	c := counts(t, "a", line(180, 80, 20, 320, 60))
	for name, x := range map[string]struct {
		earlier *Counts
		refused bool
	}{
		"the same":                 {counts(t, "a", line(180, 80, 20, 320, 60)), false},
		"one episode":              {counts(t, "a", line(179, 80, 20, 320, 60)), true},
		"hidden then, shown now":   {counts(t, "a", line(180, 80, 20, 320, 4)), true},
		"far enough in every cell": {counts(t, "a", line(100, 40, 10, 220, 30)), false},
	} {
		if err := c.Apart(x.earlier); errors.Is(err, ErrTooClose) != x.refused {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestReadRefusesWhatDoesNotHold(t *testing.T) {
	good, err := json.Marshal(counts(t, "a", line(180, 80, 20, 320, 60)))
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ from, to, want string }{
		"other kind":    {Kind, "recipe", "kind"},
		"other format":  {`"format":1`, `"format":9`, "format"},
		"no line":       {`"line":"a"`, `"line":""`, "name of a line"},
		"unknown key":   {`"kind"`, `"extra":1,"kind"`, "extra"},
		"negative":      {"180", "-180", "negative"},
		"cut":           {`"cut":"same_day"`, `"cut":"soon"`, "cut"},
		"index":         {`"index":"advice"`, `"index":"guess"`, "index"},
		"share":         {`"estimate":0.9`, `"estimate":0.99`, "limits"},
		"confidence":    {`"confidence":0.95`, `"confidence":95`, "confidence"},
		"not even JSON": {"{", "[", "JSON"},
		"a row too few": {`"cells":[[`, `"cells":[],"corrected":{"sensitivity":{},"specificity":{}}},{"x":[[`, "rows"},
	} {
		path := filepath.Join(t.TempDir(), "c.json")
		if err := os.WriteFile(path, bytes.Replace(good, []byte(c.from), []byte(c.to), 1), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Read(path); err == nil || !strings.Contains(err.Error(), c.want) && name != "a row too few" || !strings.Contains(err.Error(), "report counts") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Read(filepath.Join(t.TempDir(), "none.json")); err == nil {
		t.Error("no file: no error")
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(`{"format":1,"kind":"triage_counts","line":"a","confidence":0.95,"tables":[{"index":"advice","cut":"emergency","cells":[[1,2,3],[null,5,6]],"corrected":{"sensitivity":{"estimate":0.5,"low":0.4},"specificity":{}}}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Parse(data)
		if err != nil {
			return
		}
		other := *c
		other.Line += "x"
		if _, err := Pool([]*Counts{c, &other}, 0.95); err != nil && !strings.Contains(err.Error(), "pool") {
			t.Errorf("a file that was read cannot be pooled: %v", err)
		}
	})
}
