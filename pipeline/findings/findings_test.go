package findings

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v3"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/strict"
)

// stored is the layout on disk of the built-in findings: ids and the order of
// codes. Entries may be added at an end; a change anywhere else makes every
// existing store wrong.
const stored = `gum_colour: pink pale_pink white grey blue brick_red yellow brown pigmented_unreadable*
tongue_colour: pink pale_pink white grey blue brick_red yellow brown pigmented_unreadable*
lower_eyelid: pink pale white red yellow unreadable*
pupils: equal unequal both_wide both_pinpoint cannot_tell*
eye_discharge: none watery mucoid pus blood
chest_movement: even one_sided paradoxical
belly_breathing: no yes
mouth_breathing: none after_stress at_rest
breathing_effort: normal mild marked gasping
belly_feel: soft hard fluid painful drum_like
under_tail: normal soiled swollen bleeding worms discharge maggots prolapse
stool: normal soft watery bloody black none
anal_glands: normal full painful
blink_reflex: present absent one_side
toe_pinch: pulls_and_turns pulls_only none
claw_scuffing: normal scuffs knuckles drags
lump: none soft hard warm discharging
coat_wounds: none scabs wound deep_wound
responsiveness: alert quiet dull stuporous comatose
retching: none productive unproductive
urination: normal frequent_small straining_little none blood
bleeding: none ooze steady spurting stopped
fits: none single cluster ongoing
collapse: no yes
suspected_poison: no yes
road_accident: no yes
heat_exposure: no yes
hind_limbs: normal weak lost_use cold_painful
capillary_refill_s: s 10
breathing_rate: /min 1
heart_rate: /min 1
temperature_c: degC 10
onset_h: h 10
hours_since_eating: h 1
hours_since_droppings: h 1
`

func TestStoredLayout(t *testing.T) {
	var b strings.Builder
	d := Default()
	for i := range d.Findings {
		f := &d.Findings[i]
		b.WriteString(f.ID + ":")
		for _, c := range f.Codes {
			b.WriteString(" " + c.ID)
			if c.Unreadable {
				b.WriteString("*")
			}
		}
		if f.Kind == Number {
			b.WriteString(" " + f.Unit + " " + map[int]string{1: "1", 10: "10"}[f.Scale])
		}
		b.WriteString("\n")
		if d.Index(f.ID) != i || f.SQLType() != "SMALLINT" || f.Column() != "f_"+f.ID {
			t.Errorf("%s: index %d, type %s", f.ID, d.Index(f.ID), f.SQLType())
		}
	}
	if diff := cmp.Diff(stored, b.String()); diff != "" {
		t.Error(diff)
	}
}

func TestDefaultIsComplete(t *testing.T) {
	d := Default()
	for i := range d.Findings {
		f := &d.Findings[i]
		normal := 0
		for _, c := range f.Codes {
			if c.Normal {
				normal++
			}
		}
		if f.Kind == Code && normal != 1 {
			t.Errorf("%s: %d normal codes, want 1", f.ID, normal)
		}
		if strings.Count(f.Ask, ".") != 1 || !strings.HasSuffix(f.Ask, ".") {
			t.Errorf("%s: ask is not one sentence: %s", f.ID, f.Ask)
		}
		for species, u := range f.Usual {
			h := f.HardRange(species)
			if u.Source == "" || u.Low < h.Low || u.High > h.High {
				t.Errorf("%s of %s: usual %v lies outside hard %v, or has no source", f.ID, species, u, h)
			}
		}
	}
}

// Ranges as published; "common practice" ones are not checked here.
func TestPublishedRanges(t *testing.T) {
	for _, c := range []struct {
		finding, species string
		low, high        float64
		source           string
	}{
		{"heart_rate", "dog", 60, 140, "Rockar 1994"},
		{"heart_rate", "cat", 120, 200, "Rockar 1994"},
		{"heart_rate", "rabbit", 130, 325, "Harcourt-Brown"},
		{"heart_rate", "horse", 30, 40, "McLeish & Cecile 1989"},
		{"temperature_c", "dog", 37.7, 39.5, "Dorn 2024"},
		{"temperature_c", "cat", 36.7, 38.9, "Levy 2015"},
		{"temperature_c", "rabbit", 38.5, 40.0, "Harcourt-Brown"},
	} {
		f, _ := Default().Finding(c.finding)
		r, ok := f.UsualRange(c.species)
		if !ok || r.Low != c.low || r.High != c.high || !strings.Contains(r.Source, c.source) {
			t.Errorf("%s of %s: %+v, want %v to %v from %s", c.finding, c.species, r, c.low, c.high, c.source)
		}
	}
	hr, _ := Default().Finding("heart_rate")
	if got := hr.HardRange("cat"); got.Contains(351) || !got.Contains(40) {
		t.Errorf("hard range of cats: %v", got)
	}
	if got := hr.HardRange("ferret"); got != hr.Hard[AnySpecies] {
		t.Errorf("a species without a range takes any: %v", got)
	}
	if _, ok := hr.UsualRange("ferret"); ok {
		t.Error("no usual range is known for ferrets")
	}
}

func TestEncode(t *testing.T) {
	gum, _ := Default().Finding("gum_colour")
	crt, _ := Default().Finding("capillary_refill_s")
	none := math.NaN()
	for _, c := range []struct {
		name          string
		f             *Finding
		state, reason string
		number        float64
		code          string
		want          int32
	}{
		{"first code", gum, "done", "", none, "pink", 1},
		{"unreadable is a code", gum, "done", "", none, "pigmented_unreadable", 9},
		{"unknown word", gum, "done", "", none, "Pink", -1},
		{"done without a word", gum, "done", "", none, "", -1},
		{"declined with a word left over", gum, "declined", "unsafe", none, "pink", -3},
		{"not possible", gum, "not_possible", "dark", none, "", -2},
		{"stopped early", gum, "not_asked", "stopped_early", none, "", -4},
		{"tenths", crt, "done", "", 2.5, "", 25},
		{"zero is a reading", crt, "done", "", 0, "", 0},
		{"half rounds up", crt, "done", "", 0.25, "", 3},
		{"top", crt, "done", "", 10, "", 100},
		{"above the top", crt, "done", "", 10.01, "", -1},
		{"negative", crt, "done", "", -0.01, "", -1},
		{"no number", crt, "done", "", none, "", -1},
		{"infinite", crt, "done", "", math.Inf(1), "", -1},
		{"number of another finding as word", crt, "done", "", none, "2", -1},
	} {
		if got := c.f.Encode(c.state, c.reason, c.number, c.code); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
	if o, ok := gum.Option(9); !ok || !o.Unreadable {
		t.Errorf("Option(9) = %v", o)
	}
	if _, ok := gum.Option(10); ok {
		t.Error("there is no tenth gum colour")
	}
	if got := crt.FormatValue(25); got != "2.5 s" {
		t.Errorf("FormatValue = %q", got)
	}
}

const one = "dictionary: d\ntitle: T\nfindings:\n"
const codeFinding = "  - {id: a, title: A, kind: code, ask: Look., source: s, codes: [{code: x, title: X}]}\n"
const numberFinding = "  - {id: n, title: N, kind: number, ask: Count., source: s, unit: s, scale: 10, bad: high, hard: {any: {low: 0, high: 9}}}\n"

func TestParseProblems(t *testing.T) {
	for name, c := range map[string]struct{ yaml, want string }{
		"no findings":        {"dictionary: d\ntitle: T", "expected the key findings"},
		"unknown key":        {one + "  - {id: a, titel: A}", "did you mean title?"},
		"two of one id":      {one + codeFinding + codeFinding, `d.yaml:5:5: findings[1]: expected each finding once, found "a" again`},
		"id for sql":         {one + "  - {id: \"a\\\"; drop\", title: A, kind: code}", "expected an identifier"},
		"code twice":         {one + strings.Replace(codeFinding, "]}", ", {code: x, title: Y}]}", 1), `expected each code once, found "x" again`},
		"codes and number":   {one + strings.Replace(numberFinding, "unit: s", "unit: s, codes: []", 1), "no codes in a finding of kind number"},
		"unit in a code":     {one + strings.Replace(codeFinding, "source", "unit: s, source", 1), "no unit in a finding of kind code"},
		"no codes":           {one + "  - {id: a, title: A, kind: code, ask: L., source: s}", "expected the key codes"},
		"kind":               {one + strings.Replace(codeFinding, "kind: code", "kind: word", 1), "expected one of code, number"},
		"scale":              {one + strings.Replace(numberFinding, "scale: 10", "scale: 7", 1), "expected 1, 10, 100 or 1000"},
		"nan limit":          {one + strings.Replace(numberFinding, "high: 9", "high: .nan", 1), "expected a decimal number"},
		"inf limit":          {one + strings.Replace(numberFinding, "low: 0", "low: -.inf", 1), "expected a decimal number"},
		"exchanged":          {one + strings.Replace(numberFinding, "low: 0", "low: 10", 1), "expected low below high, found 10 and 9"},
		"negative":           {one + strings.Replace(numberFinding, "low: 0", "low: -1", 1), "expected a hard range from 0 upwards"},
		"too large":          {one + strings.Replace(numberFinding, "high: 9", "high: 300000000", 1), "a high end that can be stored"},
		"no any":             {one + strings.Replace(numberFinding, "any:", "dog:", 1), "expected a range for any species"},
		"species":            {one + strings.Replace(numberFinding, "{any", "{\"Big Dog\": {low: 1, high: 2}, any", 1), `expected a species, found "Big Dog"`},
		"usual needs source": {one + strings.Replace(numberFinding, "hard:", "usual: {dog: {low: 1, high: 2}}, hard:", 1), "expected the key source"},
		"normal unreadable":  {one + strings.Replace(codeFinding, "title: X", "title: X, normal: true, unreadable: true", 1), "an answer that could not be read is not normal"},
		"extension":          {"dictionary: d\ntitle: T\nextends: hindcheck_1", `expected one of the keys dictionary, title, findings, found "extends"`},
		"too many codes":     {one + strings.Replace(codeFinding, "{code: x, title: X}", manyCodes(64), 1), "expected at most 63 codes"},
	} {
		_, err := Parse("d.yaml", []byte(c.yaml))
		var p *strict.Problem
		if !errors.As(err, &p) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant it to contain %s", name, err, c.want)
		}
	}
	if _, err := Parse("d.yaml", []byte(one+codeFinding+numberFinding)); err != nil {
		t.Errorf("the plain file must be right, else this table shows nothing: %v", err)
	}
}

func manyCodes(n int) string {
	var out []string
	for i := range n {
		out = append(out, "{code: c"+string(rune('a'+i/26))+string(rune('a'+i%26))+", title: X}")
	}
	return strings.Join(out, ", ")
}

const site = `dictionary: site_north
title: North
extends: hindcheck_1
append_codes:
  - {finding: gum_colour, codes: [{code: lavender, title: lavender}]}
ranges:
  - finding: heart_rate
    hard: {ferret: {low: 80, high: 500}}
    usual: {cat: {low: 110, high: 210, source: own survey}, ferret: {low: 180, high: 250, source: common practice}}
findings:
  - {id: whisker_posture, title: Whiskers, kind: code, ask: Look at the whiskers., source: own, codes: [{code: loose, title: loose, normal: true}, {code: stiff, title: stiff}]}
  - {id: weight_g, title: Weight, kind: number, ask: Put it on the scales., source: own, unit: g, scale: 1, bad: low, hard: {any: {low: 1, high: 100000}}}
`

func TestExtend(t *testing.T) {
	base := Default()
	before, beforeStored := base.Hash(), base.StoredHash()
	d, err := base.Extend("north.yaml", []byte(site))
	if err != nil {
		t.Fatal(err)
	}
	gum, _ := d.Finding("gum_colour")
	if gum.Position("lavender") != 10 || gum.Position("brown") != 8 {
		t.Error("a new code goes to the end and moves no other")
	}
	if d.Index("whisker_posture") != len(base.Findings) || d.Index("gum_colour") != 0 {
		t.Error("a new finding goes to the end and moves no other")
	}
	if w, _ := d.Finding("weight_g"); w.SQLType() != "INTEGER" || w.MaxStored() != 100000 {
		t.Errorf("weight_g is stored as %s", w.SQLType())
	}
	hr, _ := d.Finding("heart_rate")
	if r, _ := hr.UsualRange("cat"); r.High != 210 {
		t.Errorf("own range of cats: %v", r)
	}
	if r, _ := hr.UsualRange("dog"); r.High != 140 {
		t.Errorf("other ranges stay: %v", r)
	}
	if base.Hash() != before || base.StoredHash() != beforeStored || len(base.Findings) == len(d.Findings) {
		t.Error("Extend changed the dictionary it extends")
	}
	if d.Hash() == before || d.StoredHash() == beforeStored {
		t.Error("another dictionary must have another hash")
	}
	wording, err := base.Extend("w.yaml", []byte("dictionary: w\ntitle: other words\nextends: hindcheck_1\n"+
		"ranges: [{finding: heart_rate, usual: {cat: {low: 1, high: 2, source: x}}}]"))
	if err != nil || wording.StoredHash() != beforeStored || wording.Hash() == before {
		t.Errorf("usual ranges decide no stored number (%v)", err)
	}
}

func TestNear(t *testing.T) {
	crt, _ := Default().Finding("capillary_refill_s")
	if crt.Near.By != 0.5 || crt.Near.Source == "" {
		t.Errorf("near of the refill time: %+v", crt.Near)
	}
	d, err := Default().Extend("n.yaml", []byte("dictionary: n\ntitle: nearer\nextends: hindcheck_1\n"+
		"ranges: [{finding: capillary_refill_s, near: {by: 0.3, source: x}}]"))
	if err != nil {
		t.Fatal(err)
	}
	if f, _ := d.Finding("capillary_refill_s"); f.Near.By != 0.3 || d.StoredHash() != Default().StoredHash() {
		t.Errorf("near is %v; it decides no stored number", f.Near)
	}
	_, err = Default().Extend("n.yaml", []byte("dictionary: n\ntitle: nearer\nextends: hindcheck_1\n"+
		"ranges: [{finding: capillary_refill_s, near: {by: 0, source: x}}]"))
	if err == nil || !strings.Contains(err.Error(), "expected a number above 0") {
		t.Errorf("near by 0: %v", err)
	}
}

func TestExtendProblems(t *testing.T) {
	for name, c := range map[string]struct{ from, to, want string }{
		"other base":        {"extends: hindcheck_1", "extends: hindcheck_2", "expected the id of the dictionary that is extended, hindcheck_1"},
		"no such finding":   {"finding: gum_colour", "finding: gum", "expected a finding of the dictionary that is extended"},
		"code in a number":  {"finding: gum_colour", "finding: heart_rate", "expected a finding of kind code"},
		"range of a code":   {"finding: heart_rate", "finding: gum_colour", "expected a finding of kind number"},
		"code again":        {"code: lavender", "code: pink", `expected each code once, found "pink" again`},
		"finding again":     {"id: whisker_posture", "id: gum_colour", "expected each finding once"},
		"taking codes away": {"append_codes", "codes", "expected one of the keys"},
	} {
		_, err := Default().Extend("north.yaml", []byte(strings.Replace(site, c.from, c.to, 1)))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant it to contain %s", name, err, c.want)
		}
	}
}

func TestLoad(t *testing.T) {
	dir := t.TempDir()
	write := func(name, data string) string {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
		return p
	}
	if d, err := Load(""); err != nil || d != Default() {
		t.Errorf("no path means the built-in one: %v", err)
	}
	if d, err := Load(write("site.yaml", site)); err != nil || d.ID != "site_north" || d.Index("gum_colour") != 0 {
		t.Errorf("extension: %v", err)
	}
	if d, err := Load(write("own.yaml", one+codeFinding)); err != nil || len(d.Findings) != 1 {
		t.Errorf("complete: %v", err)
	}
	if _, err := Load(filepath.Join(dir, "none.yaml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing: %v", err)
	}
	if _, err := Load(write("bad.yaml", "[")); err == nil {
		t.Error("broken YAML must not load")
	}
}

func TestHashIgnoresLayout(t *testing.T) {
	a, err := Parse("a", []byte(one+codeFinding))
	if err != nil {
		t.Fatal(err)
	}
	b, err := Parse("b", []byte("# comment\n"+strings.ReplaceAll(one+codeFinding, ", ", ",   ")))
	if err != nil || a.Hash() != b.Hash() {
		t.Errorf("layout changes the hash (%v)", err)
	}
	c, err := Parse("c", []byte(one+strings.Replace(codeFinding, "code: x", "code: y", 1)))
	if err != nil || a.Hash() == c.Hash() || a.StoredHash() == c.StoredHash() {
		t.Errorf("another code must change both hashes (%v)", err)
	}
}

func TestSQLHoldsOnlyIdentifiers(t *testing.T) {
	safe := regexp.MustCompile(`^[A-Za-z0-9_ '()*<>=.,-]+$`)
	for i := range Default().Findings {
		if sql := Default().Findings[i].SQL(); !safe.MatchString(sql) {
			t.Errorf("%s", sql)
		}
	}
}

// compileSchema is also the check that the schema itself is right.
func compileSchema(t testing.TB) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("dictionary.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("dictionary.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func validate(t testing.TB, s *jsonschema.Schema, data []byte) error {
	t.Helper()
	var v any
	if err := yaml.Unmarshal(data, &v); err != nil {
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

func TestSchema(t *testing.T) {
	s := compileSchema(t)
	for name, data := range map[string][]byte{"built in": defaultFile, "site": []byte(site), "small": []byte(one + codeFinding + numberFinding)} {
		if err := validate(t, s, data); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, data := range map[string]string{
		"unknown key":    one + strings.Replace(codeFinding, "title: A", "titel: A", 1),
		"id":             one + strings.Replace(codeFinding, "id: a", "id: A", 1),
		"unit in a code": one + strings.Replace(codeFinding, "source", "unit: s, source", 1),
		"scale":          one + strings.Replace(numberFinding, "scale: 10", "scale: 7", 1),
		"no any":         one + strings.Replace(numberFinding, "any:", "dog:", 1),
		"negative":       one + strings.Replace(numberFinding, "low: 0", "low: -1", 1),
		"append":         strings.Replace(site, "extends: hindcheck_1\n", "", 1),
		"both":           one + strings.Replace(codeFinding, "title: X", "title: X, normal: true, unreadable: true", 1),
	} {
		if validate(t, s, []byte(data)) == nil {
			t.Errorf("%s: the schema accepts what the reader refuses", name)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add(one + codeFinding + numberFinding)
	f.Add(site)
	f.Add(string(defaultFile[:3000]))
	f.Add("dictionary: d\ntitle: T\nfindings: [{}]")
	f.Add("findings: {hard: {any: {low: .nan}}}")
	f.Fuzz(func(t *testing.T, data string) {
		for _, d := range []*Dictionary{parsed(data), extended(data)} {
			if d == nil {
				continue
			}
			for i := range d.Findings {
				fd := &d.Findings[i]
				if !codes.ValidID(fd.ID) || d.Index(fd.ID) != i || fd.MaxStored() < 0 || fd.Kind == Code && len(fd.Codes) == 0 {
					t.Fatalf("accepted %+v", fd)
				}
				if v := fd.Encode("done", "", fd.highest(), ""); fd.Kind == Number && v != fd.MaxStored() {
					t.Fatalf("%s: %d, want %d", fd.ID, v, fd.MaxStored())
				}
			}
			d.Hash()
		}
	})
}

func parsed(data string) *Dictionary   { d, _ := Parse("f", []byte(data)); return d }
func extended(data string) *Dictionary { d, _ := Default().Extend("f", []byte(data)); return d }
