package rules

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v3"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/strict"
)

const demoFile = "../../datasets/demo/rules.yaml"

func demo(t testing.TB) *Set {
	t.Helper()
	s, err := Load(demoFile)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func compiled(t testing.TB, s *Set) *Program {
	t.Helper()
	p, err := Compile(s, findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// head and flagA make a small set that is right; the tables break it.
const head = `ruleset: r_1
title: T
owner: O
reason: R
effective: 2026-01-01
expires: 2026-12-31
status: test
otherwise: home_care
flags:
`
const flagA = `  - id: a
    title: A
    why: W
    demands: same_day
    when_unknown: leave
    all:
      - {finding: breathing_rate, at_least: 40}
`

func parse(t testing.TB, text string) *Set {
	t.Helper()
	s, err := Parse("r.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// with adds lines to flagA, above `all`.
func with(lines ...string) string {
	return head + strings.Replace(flagA, "    all:", "    "+strings.Join(lines, "\n    ")+"\n    all:", 1)
}

// when replaces the condition of flagA.
func when(conds ...string) string {
	return head + strings.Replace(flagA, "      - {finding: breathing_rate, at_least: 40}\n",
		"      - "+strings.Join(conds, "\n      - ")+"\n", 1)
}

func TestDemoReads(t *testing.T) {
	s := demo(t)
	if len(s.Flags) < 30 || !strings.Contains(s.Status, "not reviewed by a licensed") || s.Otherwise != codes.HomeCare {
		t.Errorf("%d flags, status %q", len(s.Flags), s.Status)
	}
	compiled(t, s)
	raises := 0
	for _, f := range s.Flags {
		if f.Raise {
			raises++
		}
	}
	if raises < 3 {
		t.Errorf("%d flags raise when unknown, want several", raises)
	}
}

func TestReadFlag(t *testing.T) {
	s := parse(t, with("species: [cat]", "sex: male", "neutered: [no]", "age_months: {at_least: 6, below: 24}",
		"breed_group: [\"O'Hara; drop\"]", "complaint: [urine]"))
	f := s.Flags[0]
	if f.Species[0] != "cat" || f.Sex[0] != "male" || f.Neutered[0] != "no" || f.Age != (AgeSpan{6, 24}) ||
		f.BreedGroup[0] != "O'Hara; drop" || f.Complaint[0] != "urine" || f.Demands != codes.SameDay || f.Raise || f.Pos != (Pos{10, 5}) {
		t.Errorf("%+v", f)
	}
	c := f.All[0]
	if c.Lower != (Bound{"40", true}) || c.Upper.Set() {
		t.Errorf("%+v", c)
	}
	if none := parse(t, head+flagA).Flags[0]; none.Age.Limits() {
		t.Error("no age_months must not limit")
	}
	day := time.Date(2026, 12, 31, 23, 0, 0, 0, time.UTC)
	if !s.InForce(day) || s.InForce(day.Add(2*time.Hour)) || s.InForce(s.Effective.Add(-time.Second)) || !s.InForce(s.Effective) {
		t.Error("both days belong to the time in force")
	}
}

func TestReadProblems(t *testing.T) {
	for name, c := range map[string]struct{ yaml, want string }{
		"unknown key":        {with("sexes: [male]"), `r.yaml:15:5: flags[0]: expected one of the keys id,`},
		"unknown condition":  {when("{finding: gum_colour, are: [white]}"), `r.yaml:16:31: flags[0].all[0]: expected one of the keys finding, is,`},
		"no when_unknown":    {strings.Replace(head+flagA, "    when_unknown: leave\n", "", 1), "expected the key when_unknown"},
		"no status":          {strings.Replace(head+flagA, "status: test\n", "", 1), "expected the key status"},
		"level":              {strings.Replace(head+flagA, "same_day", "urgent", 1), "expected one of emergency, same_day, soon, home_care"},
		"flag id":            {strings.Replace(head+flagA, "id: a", "id: a-b", 1), "expected an identifier"},
		"flag id for sql":    {strings.Replace(head+flagA, "id: a", `id: "a); DROP TABLE cases; --"`, 1), "expected an identifier"},
		"two of one id":      {head + flagA + flagA, `expected each flag once, found "a" again`},
		"no flags":           {head + "  []", "a list of at least one value"},
		"no conditions":      {strings.Replace(head+flagA, "    all:\n      - {finding: breathing_rate, at_least: 40}\n", "", 1), "expected the key all"},
		"nan":                {when("{finding: breathing_rate, at_least: .nan}"), "expected a decimal number"},
		"infinite":           {when("{finding: breathing_rate, at_least: .inf}"), "expected a decimal number"},
		"huge":               {when("{finding: breathing_rate, at_least: 1e400}"), "expected a decimal number"},
		"text threshold":     {when(`{finding: breathing_rate, at_least: "40"}`), "expected a decimal number"},
		"no test":            {when("{finding: breathing_rate}"), "expected is, is_not, at_least"},
		"codes and bound":    {when("{finding: gum_colour, is: [white], at_least: 2}"), "expected codes or a threshold, found both"},
		"is and is_not":      {when("{finding: gum_colour, is: [white], is_not: [pink]}"), "expected is or is_not, found both"},
		"two lower bounds":   {when("{finding: breathing_rate, at_least: 2, above: 3}"), "expected at_least or above, found both"},
		"two upper bounds":   {when("{finding: breathing_rate, at_most: 2, below: 3}"), "expected at_most or below, found both"},
		"bounds exchanged":   {when("{finding: breathing_rate, at_least: 40, at_most: 30}"), "expected a lower bound below the upper one, found 40 and 30"},
		"empty between":      {when("{finding: breathing_rate, at_least: 40, below: 40}"), "expected a lower bound below the upper one"},
		"sex unknown":        {with("sex: [unknown]"), "what is not recorded makes a flag unknown by itself"},
		"breed unknown":      {with("breed_group: unknown"), "what is not recorded makes a flag unknown by itself"},
		"neutered true":      {with("neutered: true"), "expected text"},
		"neutered word":      {with("neutered: maybe"), "expected one of yes, no, unknown"},
		"species":            {with("species: [Big Dog]"), "expected an identifier"},
		"species twice":      {with("species: [dog, dog]"), "expected each value once"},
		"age exchanged":      {with("age_months: {at_least: 6, below: 6}"), "expected at_least smaller than below"},
		"age negative":       {with("age_months: {at_least: -1}"), "a whole number from 0 to 1800"},
		"age fraction":       {with("age_months: {below: 1.5}"), "a whole number"},
		"age empty":          {with("age_months: {}"), "expected at_least, below or both"},
		"expires first":      {strings.Replace(head+flagA, "expires: 2026", "expires: 2025", 1), "expected a day not before effective"},
		"effective":          {strings.Replace(head+flagA, "effective: 2026-01-01", "effective: 1.1.2026", 1), "expected a day such as"},
		"ruleset id":         {strings.Replace(head+flagA, "r_1", "R 1", 1), "expected an identifier"},
		"too many conds":     {when(strings.Split(strings.Repeat("{finding: breathing_rate, at_least: 40}|", 50)+"{finding: breathing_rate, at_least: 40}", "|")...), "at most 50 conditions"},
		"not yaml":           {"flags: [", "expected YAML"},
		"control characters": {strings.Replace(head+flagA, "title: T", `title: "\u202eT"`, 1), "visible characters"},
	} {
		_, err := Parse("r.yaml", []byte(c.yaml))
		var p *strict.Problem
		if !errors.As(err, &p) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant it to contain %s", name, err, c.want)
		}
	}
	parse(t, head+flagA) // the unbroken set must be right, else the table shows nothing
}

func TestCompileProblems(t *testing.T) {
	for name, c := range map[string]struct{ yaml, want string }{
		"no such finding":     {when("{finding: tail_wag, is: [yes]}"), `r.yaml:16:9: flags[0].all[0]: expected a finding of dictionary hindcheck_1, found "tail_wag"`},
		"no such code":        {when("{finding: gum_colour, is: [purple]}"), `expected codes of gum_colour, found "purple"`},
		"no such code in not": {when("{finding: gum_colour, is_not: [purple]}"), `found "purple"`},
		"unreadable":          {when("{finding: gum_colour, is: [pigmented_unreadable]}"), "expected codes that say something"},
		"number by code":      {when("{finding: breathing_rate, is: [fast]}"), "expected a threshold, as breathing_rate is a number"},
		"code by number":      {when("{finding: gum_colour, at_least: 2}"), "expected codes, as gum_colour is recorded by code"},
	} {
		_, err := Compile(parse(t, c.yaml), findings.Default())
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant it to contain %s", name, err, c.want)
		}
	}
	two := when("{finding: tail_wag, is: [yes]}", "{finding: ear_flap, is: [yes]}")
	_, err := Compile(parse(t, two), findings.Default())
	var all strict.Problems
	if !errors.As(err, &all) || len(all) != 2 {
		t.Errorf("want both problems, got %v", err)
	}
}

func TestTooManyFlags(t *testing.T) {
	if testing.Short() {
		t.Skip("reads a file of 10,001 flags")
	}
	s := parse(t, manyFlags(MaxFlags))
	compiled(t, s)
	_, err := Parse("r.yaml", []byte(manyFlags(MaxFlags+1)))
	if err == nil || !strings.Contains(err.Error(), "expected at most 10000 flags") {
		t.Errorf("10,001 flags: %v", err)
	}
	s.Flags = append(s.Flags, s.Flags[0])
	if _, err := Compile(s, findings.Default()); err == nil {
		t.Error("a set made in Go is bounded as well")
	}
}

func TestHash(t *testing.T) {
	a := parse(t, head+flagA)
	if b := parse(t, "# note\n"+strings.ReplaceAll(head+flagA, ": ", ":   ")); a.Hash() != b.Hash() {
		t.Error("layout changes the hash")
	}
	for _, change := range [][2]string{{"40", "41"}, {"at_least", "above"}, {"leave", "raise"}, {"same_day", "soon"}, {"title: A", "title: B"}} {
		if b := parse(t, strings.Replace(head+flagA, change[0], change[1], 1)); a.Hash() == b.Hash() {
			t.Errorf("%s for %s does not change the hash", change[1], change[0])
		}
	}
}

func validate(t testing.TB, data []byte) error {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("rules.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("rules.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	// A day without quotes is a time to the decoder and text to an editor.
	var tree yaml.Node
	if err := yaml.Unmarshal(data, &tree); err != nil {
		return err
	}
	asText(&tree)
	var v any
	if err := tree.Decode(&v); err != nil {
		return err
	}
	text, err := json.Marshal(v)
	if err != nil {
		return err
	}
	inst, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		return err
	}
	return s.Validate(inst)
}

func asText(n *yaml.Node) {
	if n.Tag == "!!timestamp" {
		n.Tag = "!!str"
	}
	for _, c := range n.Content {
		asText(c)
	}
}

func TestSchema(t *testing.T) {
	data, err := os.ReadFile(demoFile)
	if err != nil {
		t.Fatal(err)
	}
	good := map[string]string{
		"demo": string(data), "small": head + flagA,
		"limits": with("species: [cat]", "sex: male", "neutered: [no]", "age_months: {at_least: 6}", "breed_group: [large]"),
		"codes":  when("{finding: gum_colour, is_not: [pink]}", "{finding: breathing_rate, above: 2.5, at_most: 9}"),
	}
	for name, text := range good {
		if err := validate(t, []byte(text)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, text := range map[string]string{
		"unknown key": with("sexes: [male]"), "level": strings.Replace(head+flagA, "same_day", "urgent", 1),
		"no when_unknown": strings.Replace(head+flagA, "    when_unknown: leave\n", "", 1),
		"is and is_not":   when("{finding: gum_colour, is: [white], is_not: [pink]}"),
		"codes and bound": when("{finding: gum_colour, is: [white], at_least: 2}"),
		"two lower":       when("{finding: breathing_rate, at_least: 2, above: 3}"),
		"no test":         when("{finding: breathing_rate}"),
		"text threshold":  when(`{finding: breathing_rate, at_least: "40"}`),
		"flag id":         strings.Replace(head+flagA, "id: a", "id: a-b", 1),
		"sex unknown":     with("sex: [unknown]"), "breed unknown": with("breed_group: unknown"),
		"age empty": with("age_months: {}"), "no flags": head + "  []",
	} {
		if validate(t, []byte(text)) == nil {
			t.Errorf("%s: the schema accepts what the reader refuses", name)
		}
	}
}

// FuzzParse: whatever a file says, reading it ends without a panic; and if it
// says rules, Go and DuckDB give them one answer, and what is said about them can
// be written.
func FuzzParse(f *testing.F) {
	f.Add(head + flagA)
	f.Add(with("species: [cat]", "sex: male", "age_months: {below: 3}", "breed_group: [\"'; --\"]"))
	f.Add(when("{finding: gum_colour, is_not: [pink, white]}", "{finding: temperature_c, above: 40.5, below: 45}"))
	f.Add(when("{finding: breathing_rate, at_least: -99999999999999999999}"))
	f.Add(when("{finding: temperature_c, at_most: 0.0000000000000000000001}", "{finding: temperature_c, at_least: 0}"))
	f.Add(with("complaint: [\"') OR true; DROP TABLE cases; --\", \"\\u00e9\"]"))
	f.Add(ladder)
	f.Add("flags: [{all: [{}]}]")
	f.Add("a: &a [*a]")
	d := findings.Default()
	seed := compiled(f, parse(f, with("complaint: [skin]", "breed_group: [small]")))
	recs := directed(seed, 40, 11)
	db := load(f, recs)
	base := parse(f, head+flagA)
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Parse("f", []byte(text))
		if err != nil {
			return
		}
		_, _ = Check(s, d), CheckDates(s, s.Effective)
		for _, c := range append(DiffIn(base, s, d), Diff(s, base)...) {
			if c.Text == "" || c.Part == "" {
				t.Fatalf("a change without words: %+v", c)
			}
		}
		p, err := Compile(s, d)
		if err != nil {
			return
		}
		if _, err := Boundaries(s, d); err != nil {
			t.Fatal(err)
		}
		if len(s.Flags) <= 200 { // a larger set is for TestTenThousandFlags
			compare(t, db, recs, Part{Program: p, Prefix: "p_"})
		}
	})
}
