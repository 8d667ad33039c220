package criteria

import (
	"bytes"
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v3"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/strict"
)

const text = `criteria: c_1
title: T
owner: O
reason: R
fixed_on: 2026-09-01
proposal: {ruleset: r_2}
judged: raises_kept
confidence: 0.9
evidence:
  months: 9
  calls: 500
  in_need: {emergency: 5, same_day: 20}
accuracy:
  same_day: {sensitivity_floor: 0.8, sensitivity_loss: 0.02}
subgroups:
  properties: [species, site]
  sensitivity_loss: 0.05
workload:
  cut: emergency
  extra_referrals_a_day: 0
reviewed:
  - episode: 00000000-0000-0000-0000-000000000001
    reviewer: veterinary surgeon
    registration: no. 1
    date: 2026-11-02
    reason: seen in time
`

func TestParse(t *testing.T) {
	c, err := Parse("c.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	f := func(x float64) *float64 { return &x }
	want := &Criteria{
		File: "c.yaml", ID: "c_1", Title: "T", Owner: "O", Reason: "R", FixedOn: time.Date(2026, 9, 1, 0, 0, 0, 0, time.UTC), Ruleset: "r_2",
		Judged: RaisesKept, Confidence: 0.9, Evidence: Evidence{Months: 9, Calls: 500, InNeed: map[codes.Level]int{codes.Emergency: 5, codes.SameDay: 20}, Changed: map[codes.Level]int{}},
		Accuracy:  map[codes.Level]Accuracy{codes.SameDay: {SensitivityFloor: f(0.8), SensitivityLoss: f(0.02)}},
		Subgroups: Subgroups{Properties: []string{"species", "site"}, SensitivityLoss: 0.05},
		Workload:  Workload{ExtraPerDay: f(0), Cut: codes.Emergency},
		Reviewed: []Reviewed{{Line: 22, Episode: "00000000-0000-0000-0000-000000000001", Reviewer: "veterinary surgeon", Registration: "no. 1",
			Date: time.Date(2026, 11, 2, 0, 0, 0, 0, time.UTC), Reason: "seen in time"}},
	}
	if diff := cmp.Diff(want, c); diff != "" {
		t.Error(diff)
	}
}

// What is fixed beforehand is hashed; the cases reviewed since are not.
func TestHash(t *testing.T) {
	hash := func(from, to string) string {
		c, err := Parse("c.yaml", []byte(strings.Replace(text, from, to, 1)))
		if err != nil {
			t.Fatal(err)
		}
		return c.Hash()
	}
	same := hash("", "")
	if hash("seen in time", "another reason") != same || hash("title: T", "title:   T") != same {
		t.Error("a reviewed case or another layout changes the hash")
	}
	for _, c := range [][2]string{{"loss: 0.02", "loss: 0.03"}, {"in_need: {emergency: 5", "in_need: {emergency: 6"}, {"2026-09-01", "2026-09-02"}, {"raises_kept", "rules_followed"}, {"day: 0", "day: 1"}} {
		if hash(c[0], c[1]) == same {
			t.Errorf("%s: the hash does not follow", c[1])
		}
	}
}

func TestParseProblems(t *testing.T) {
	for name, c := range map[string]struct{ from, to, want string }{
		"unknown key":     {"owner: O", "ovner: O", "c.yaml:3:1: expected one of the keys criteria,"},
		"no owner":        {"owner: O\n", "", "expected the key owner"},
		"judged":          {"raises_kept", "both", "c.yaml:7:9: judged: expected one of rules_followed, raises_kept"},
		"percent":         {"sensitivity_loss: 0.02", "sensitivity_loss: 2", "c.yaml:14:56: accuracy.same_day.sensitivity_loss: expected a number between 0 and 1"},
		"nan":             {"sensitivity_loss: 0.02", "sensitivity_loss: .nan", "expected a decimal number"},
		"confidence":      {"confidence: 0.9", "confidence: 95", "expected a number between 0.5 and 1"},
		"cut":             {"same_day: {sens", "soon: {sens", "expected one of the keys emergency, same_day"},
		"empty cut":       {"{sensitivity_floor: 0.8, sensitivity_loss: 0.02}", "{}", "expected sensitivity_floor, sensitivity_loss or specificity_loss"},
		"property":        {"[species, site]", "[species, advisor]", "expected one of species, age, site"},
		"negative load":   {"a_day: 0", "a_day: -1", "expected a number of 0 or more"},
		"evidence":        {"months: 9", "months: 0", "expected a whole number from 1 to 120"},
		"no date":         {"    date: 2026-11-02\n", "", "reviewed[0]: expected the key date"},
		"not a pseudonym": {"00000000-0000-0000-0000-000000000001", "\"'; DROP TABLE cases; --\"", "expected the pseudonym of an episode"},
		"nobody":          {"reviewer: veterinary surgeon", "reviewer: \" \"", "expected text, found a blank"},
		"hash":            {"{ruleset: r_2}", "{ruleset: r_2, sha256: abc}", "expected 64 digits"},
		"alias":           {"reason: R", "reason: &x R", "found an anchor"},
		"nothing asked":   {text[strings.Index(text, "accuracy:"):strings.Index(text, "reviewed:")], "", "expected accuracy, subgroups or workload"},
		"twice": {"reviewed:\n", "reviewed:\n  - {episode: 00000000-0000-0000-0000-000000000001, reviewer: a, registration: b, date: 2026-01-01, reason: c}\n",
			"expected each episode once"},
	} {
		_, err := Parse("c.yaml", []byte(strings.Replace(text, c.from, c.to, 1)))
		var p *strict.Problem
		if !errors.As(err, &p) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant it to contain %s", name, err, c.want)
		}
	}
}

const places = `appointments: a_1
title: T
owner: O
night: {from: 21, to: 7}
sites:
  north: {day: 8, night: 0}
  "O'Hara": {day: 1, night: 1}
`

func TestParseAppointments(t *testing.T) {
	a, err := ParseAppointments("a.yaml", []byte(places))
	if err != nil || a.NightFrom != 21 || a.NightTo != 7 || len(a.Sites) != 2 {
		t.Fatalf("%+v, %v", a, err)
	}
	if s, ok := a.Of("north"); !ok || s.Day != 8 || s.Night != 0 {
		t.Errorf("%+v", s)
	}
	if _, ok := a.Of("south"); ok {
		t.Error("a site that does not stand there")
	}
	for name, c := range map[string]struct{ from, to, want string }{
		"hour":    {"from: 21", "from: 24", "a.yaml:4:15: night.from: expected a whole number from 0 to 23"},
		"no time": {"to: 7", "to: 21", "expected two different hours"},
		"half":    {"day: 8", "day: 8.5", "expected a whole number"},
		"missing": {"{day: 8, night: 0}", "{day: 8}", "sites.north: expected the key night"},
		"nobody":  {places[strings.Index(places, "  north"):], "  {}\n", "expected at least one site"},
	} {
		_, err := ParseAppointments("a.yaml", []byte(strings.Replace(places, c.from, c.to, 1)))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant it to contain %s", name, err, c.want)
		}
	}
	other, err := ParseAppointments("a.yaml", []byte(strings.Replace(places, "day: 8", "day: 9", 1)))
	if err != nil || other.Hash() == a.Hash() {
		t.Error("the hash must follow the content")
	}
}

// The demonstration line's files are right, and the schemas say so too; what the
// schemas refuse, the readers refuse.
func TestSchemas(t *testing.T) {
	for _, c := range []struct {
		schema []byte
		file   string
		good   string
		bad    []string
		parse  func([]byte) error
	}{
		{Schema, "../../datasets/demo/criteria.yaml", text, []string{"raises_kept|both", "loss: 0.02|loss: 2", "months: 9|months: 0", "owner: O\n|", "O|O\nx: y", "no. 1|1"},
			func(b []byte) error { _, err := Parse("f", b); return err }},
		{AppointmentsSchema, "../../datasets/demo/appointments.yaml", places, []string{"from: 21|from: 24", "day: 8|day: -1", "title: T\n|"},
			func(b []byte) error { _, err := ParseAppointments("f", b); return err }},
	} {
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(c.schema))
		if err != nil {
			t.Fatal(err)
		}
		compiler := jsonschema.NewCompiler()
		if err := compiler.AddResource("s.json", doc); err != nil {
			t.Fatal(err)
		}
		schema := compiler.MustCompile("s.json")
		valid := func(data []byte) error {
			var v any
			if err := yaml.Unmarshal(data, &v); err != nil {
				t.Fatal(err)
			}
			return schema.Validate(plain(v))
		}
		file, err := os.ReadFile(c.file)
		if err != nil {
			t.Fatal(err)
		}
		for _, data := range [][]byte{file, []byte(c.good)} {
			if err := errors.Join(valid(data), c.parse(data)); err != nil {
				t.Errorf("%s: %v", c.file, err)
			}
		}
		for _, b := range c.bad {
			from, to, _ := strings.Cut(b, "|")
			data := []byte(strings.Replace(c.good, from, to, 1))
			if valid(data) == nil || c.parse(data) == nil {
				t.Errorf("%q: schema %v, reader %v", b, valid(data), c.parse(data))
			}
		}
	}
}

// plain turns days into text, as JSON has them.
func plain(v any) any {
	switch x := v.(type) {
	case map[string]any:
		for k := range x {
			x[k] = plain(x[k])
		}
	case []any:
		for i := range x {
			x[i] = plain(x[i])
		}
	case time.Time:
		return x.Format(time.DateOnly)
	}
	return v
}

func FuzzParse(f *testing.F) {
	f.Add(text)
	f.Add("criteria: c\nreviewed: [a]")
	f.Add("accuracy: {same_day: {sensitivity_loss: .inf}}")
	f.Fuzz(func(t *testing.T, s string) {
		c, err := Parse("f", []byte(s))
		if err != nil {
			return
		}
		if c.Confidence <= 0.5 || c.Confidence >= 1 || c.ID == "" || c.Hash() == "" {
			t.Fatalf("%+v", c)
		}
		for _, r := range c.Reviewed {
			if r.Reviewer == "" || r.Registration == "" || r.Reason == "" || r.Date.IsZero() {
				t.Fatalf("a case without its person: %+v", r)
			}
		}
	})
}
