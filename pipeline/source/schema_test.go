package source

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v3"

	"hindcheck/pipeline/records"
	"hindcheck/pipeline/tabular"
)

var update = flag.Bool("update", false, "rewrite golden files and the schema")

type object = map[string]any

func oneOfText(words []string) object { return object{"enum": words} }

// strictObject allows only the given keys.
func strictObject(properties object, required ...string) object {
	o := object{"type": "object", "additionalProperties": false, "properties": properties}
	if len(required) > 0 {
		o["required"] = required
	}
	return o
}

// build makes the schema from the tables that the reader itself uses.
func build() object {
	text, layout, literal := ref("text"), ref("layout"), ref("literal")
	defs := object{"text": object{"type": "string", "minLength": 1}, "literal": object{"type": []string{"string", "number", "boolean"}}}
	defs["layout"] = object{"type": "string", "minLength": 1, "description": "as the export would write 2 January 2006 15:04:05; or serial-1900, serial-1904, unix, unix-ms, days-since-YYYY-MM-DD",
		"examples": []string{"02.01.2006 15:04", "2006-01-02T15:04:05Z07:00", "2006-01-02"}}
	defs["from"] = object{"oneOf": []any{text, object{"type": "array", "items": text, "minItems": 1}}}
	defs["first_of"] = object{"type": "array", "minItems": 1, "items": ref("from")}
	top := object{
		"source": object{"type": "string", "minLength": 1, "description": "name of the feed"},
		"record": oneOfText([]string{"calls", "checks", "outcomes", "coverage"}),
		"file": strictObject(object{
			"kind": oneOfText(kinds), "match": object{"type": "string", "description": "pattern of file names", "examples": []string{"calls-*.csv"}},
			"delimiter": object{"type": "string", "minLength": 1, "maxLength": 1}, "quote": object{"type": "string", "maxLength": 1, "description": "blank: the export does not quote"},
			"encoding": oneOfText(tabular.Encodings), "decimal": oneOfText([]string{".", ","}), "thousands": object{"type": "string", "minLength": 1, "maxLength": 1},
			"skip_rows": object{"type": "integer", "minimum": 0, "maximum": 10000}, "sheet": text, "records": object{"type": "string", "minLength": 1, "description": "json: dotted path to the list of records"},
		}, "kind"),
		"exported_at": strictObject(object{"file_name": object{"type": "string", "description": "regular expression with one group, the date"}, "column": text, "layout": layout}, "layout"),
		"zone":        object{"type": "string", "examples": []string{"Europe/Berlin", "UTC"}},
		"overlap":     oneOfText([]string{"earlier", "later", "set_aside"}),
		"gap":         oneOfText([]string{"set_aside", "shift_forward"}),
		"blanks":      object{"type": "array", "items": literal, "minItems": 1},
		"columns":     object{"type": "object"},
		"items":       object{"type": "object", "additionalProperties": object{"$ref": "#/$defs/reading"}},
		"wide":        object{"type": "object", "additionalProperties": object{"$ref": "#/$defs/wide"}},
	}
	reading := object{"finding": object{"type": "string", "pattern": "^[a-z0-9_]{1,48}$"}, "words": object{"type": "object", "additionalProperties": literal},
		"unit": oneOfText(append(UnitNames(), Count)), "count_from": text, "window_from": text,
		"also": strictObject(object{"unit": oneOfText(UnitNames()), "between": object{"type": "array", "items": object{"type": "number"}, "minItems": 2, "maxItems": 2}}, "unit", "between")}
	wide := object{"blank": oneOfText([]string{"skip", "not_asked"}), "optional": object{"type": "boolean"}}
	for k, v := range reading {
		wide[k] = v
	}
	s := strictObject(top, "source", "record", "file", "columns")
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["title"] = "hindcheck source description"
	defs["reading"], defs["wide"] = strictObject(reading, "finding"), strictObject(wide, "finding")
	s["$defs"] = defs
	var cases []any
	for _, t := range []records.Table{records.Calls, records.Checks, records.Outcomes, records.Coverage} {
		cases = append(cases, object{"if": object{"properties": object{"record": object{"const": t.Name}}},
			"then": object{"properties": object{"columns": columnsSchema(t)}}})
	}
	s["allOf"] = cases
	return s
}

func ref(def string) object { return object{"$ref": "#/$defs/" + def} }

func columnsSchema(t records.Table) object {
	props, required := object{}, []string{}
	for _, c := range t.Columns {
		if c.Written {
			continue
		}
		if t.Name == records.Checks.Name && c.Name == "finding" {
			props[c.Name] = strictObject(object{"from": ref("text"), "optional": object{"type": "boolean"}}, "from")
			props[readingKey] = props[c.Name]
			continue
		}
		all := object{"from": ref("from"), "first_of": ref("first_of"), "value": ref("literal"), "optional": object{"type": "boolean"}, "key": object{"const": c.Space}, "pseudonym": object{"const": c.Space},
			"layout": ref("layout"), "values": valuesSchema(c), "unit_from": ref("text"), "units": object{"type": "object", "additionalProperties": oneOfText(fitting(c.Unit))},
			"unit": oneOfText(fitting(c.Unit))}
		mine := object{}
		for _, k := range keysFor(c) {
			mine[k] = all[k]
		}
		o := strictObject(mine)
		o["oneOf"] = []any{object{"required": []string{"from"}}, object{"required": []string{"first_of"}}, object{"required": []string{"value"}}}
		props[c.Name] = o
		if c.Required && !(t.Name == records.Checks.Name && (c.Name == "seq" || c.Name == "state")) {
			required = append(required, c.Name)
		}
	}
	return strictObject(props, required...)
}

func valuesSchema(c records.Column) object {
	to := object{"type": "string", "minLength": 1, "maxLength": MaxWord}
	switch {
	case c.Kind == records.Boolean:
		to = object{"type": "boolean"}
	case c.Words.Name() != "":
		to = oneOfText(c.Words.Words())
	case c.Identifier:
		to = object{"type": "string", "pattern": "^[a-z0-9_]{1,48}$", "examples": []string{"dog", "cat", "rabbit", "horse", "other"}}
	}
	return object{"type": "object", "minProperties": 1, "additionalProperties": to}
}

// fitting lists the units that convert to a stored one.
func fitting(stored string) []string {
	base, ok := baseUnit(stored)
	names := []string{}
	for _, u := range units {
		if ok && u.Same(base) {
			names = append(names, u.Name)
		}
	}
	return names
}

func TestSchemaIsCurrent(t *testing.T) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "")
	if err := enc.Encode(build()); err != nil {
		t.Fatal(err)
	}
	if *update {
		if os.Getenv("CI") != "" {
			t.Fatal("-update is refused in CI")
		}
		if err := os.WriteFile("source.schema.json", b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(b.Bytes(), Schema()) {
		t.Error("source.schema.json does not fit the tables; run: go test ./pipeline/source -run Schema -update")
	}
}

func compileSchema(t testing.TB) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("source.schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("source.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// asJSON reads a description as an editor does.
func asJSON(t testing.TB, data []byte) any {
	t.Helper()
	var v any
	if err := yaml.Unmarshal(data, &v); err != nil {
		t.Fatal(err)
	}
	return plainJSON(v)
}

func plainJSON(v any) any {
	switch v := v.(type) {
	case map[string]any:
		for k := range v {
			v[k] = plainJSON(v[k])
		}
	case map[any]any:
		m := map[string]any{}
		for k, x := range v {
			m[strings.Trim(string(must(json.Marshal(k))), `"`)] = plainJSON(x)
		}
		return m
	case []any:
		for i := range v {
			v[i] = plainJSON(v[i])
		}
	case int:
		return json.Number(string(must(json.Marshal(v))))
	case float64:
		return json.Number(string(must(json.Marshal(v))))
	}
	return v
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// Every description that the module holds follows the schema.
func TestSchemaTakesDescriptions(t *testing.T) {
	s := compileSchema(t)
	var paths []string
	for _, glob := range []string{"../intake/testdata/nasty/*.yaml", "../../datasets/*/sources/*.yaml", "testdata/*.yaml"} {
		paths = append(paths, must(filepath.Glob(glob))...)
	}
	paths = slices.DeleteFunc(paths, func(p string) bool { return strings.Contains(p, "wrong") })
	if len(paths) < 5 {
		t.Fatalf("only %d descriptions found", len(paths))
	}
	for _, p := range paths {
		data, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(asJSON(t, data)); err != nil {
			t.Errorf("%s: %v", p, err)
		}
	}
}

func TestSchemaRefuses(t *testing.T) {
	s := compileSchema(t)
	good := string(must(os.ReadFile("../intake/testdata/nasty/calls.yaml")))
	for _, c := range []struct{ name, old, new string }{
		{"unknown key", "overlap:", "overlaps:"},
		{"word that is no code", "Dog: dog", "Dog: Dog!"},
		{"level that is none", "now: emergency", "now: urgent"},
		{"unit of another kind", "unit: kg", "unit: degC"},
		{"column that there is not", "weight_kg:", "weight:"},
		{"needed column missing", "contact_type: {value: clinical}", ""},
		{"from and value", "{value: clinical}", "{value: clinical, from: X}"},
		{"columns of another record", "record: calls", "record: outcomes"},
	} {
		if !strings.Contains(good, c.old) {
			t.Fatalf("%s: nothing to replace", c.name)
		}
		if err := s.Validate(asJSON(t, []byte(strings.Replace(good, c.old, c.new, 1)))); err == nil {
			t.Errorf("%s: accepted", c.name)
		}
	}
}
