package inspect_test

import (
	"context"
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"go.yaml.in/yaml/v3"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/inspect"
	"hindcheck/pipeline/source"
)

// answers fill the gaps of a draft of the demonstration line: the words of a
// line before its gap, and what a person would write there.
var answers = map[string]map[string]string{
	"calls": {
		"source:": "demo", "zone:": "Europe/Berlin", "  contact:": `"Call no"`,
		"  contact_type:": `"Type", values: {advice: clinical, line test: test, hung up: abandoned, other matter: not_clinical, already dead: dead_before_call, not the owner: third_party}} #`,
		"  species:":      `"Animal", values: {Dog: dog, Cat: cat, Rabbit: rabbit, none: other}} #`,
		`      "m":`:      "male", `      "f":`: "female", `      "y":`: "yes", `      "n":`: "no", `      "?":`: "unknown",
		"  age_months:": "years", "  weight_kg:": "kg",
	},
	"checks": {
		"source:": "demo", "zone:": "Europe/Berlin", "  reading:": `"Answer"`,
		`  "CRT":`: "capillary_refill_s, unit: s", `  "ATE":`: "hours_since_eating, unit: h", `  "TEMP":`: "temperature_c, unit: degC",
		`  "SINCE":`: "onset_h, unit: h", `  "DROPPED":`: "hours_since_droppings, unit: h", `  "HEART":`: "heart_rate, unit: /min",
		`  "BREATHS":`: "breathing_rate, unit: count, window_from: Secs", `  "DOWN":`: "collapse, words: {no: no, yes: yes}",
	},
	"outcomes": {
		"source:": "demo", "zone:": "Europe/Berlin", `      "sent":`: "advised_visit", `      "own":`: "own_decision", `      "audit":`: "audit",
		`      "follow-up":`: "call_back", `      "y":`: "true", `      "n":`: "false",
	},
	"coverage": {"source:": "demo", "zone:": "Europe/Berlin"},
}

// otherItems answers the checks that are recorded in words; which finding they
// are does not matter here.
const otherItems = "gum_colour"

func fill(t *testing.T, draft, record string) string {
	t.Helper()
	var out []string
	for _, line := range strings.Split(draft, "\n") {
		if strings.HasPrefix(line, "#") {
			out = append(out, line)
			continue
		}
		before, after, gap := strings.Cut(line, inspect.Gap)
		if !gap {
			out = append(out, line)
			continue
		}
		answer := ""
		for start, a := range answers[record] {
			if strings.HasPrefix(line, start) {
				answer = a
			}
		}
		if answer == "" && strings.HasPrefix(line, `  "`) && record == "checks" {
			answer = otherItems
		}
		if answer == "" {
			t.Fatalf("no answer for the gap in %q", line)
		}
		out = append(out, before+answer+after)
	}
	return strings.Join(out, "\n")
}

// A draft is YAML, is refused while gaps are open, and reads as a description
// once they are filled in.
func TestDraftIsADescriptionOnceFilledIn(t *testing.T) {
	dir := t.TempDir()
	if _, err := demo.Generate(context.Background(), demo.Options{Seed: 11, Calls: 400, Dir: dir,
		From: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)}); err != nil {
		t.Fatal(err)
	}
	dict := findings.Default()
	for record, pattern := range map[string]string{"calls": "calls-*.csv", "checks": "checks-*.csv", "outcomes": "outcomes-tarn-*.csv", "coverage": "deliveries-*.csv"} {
		t.Run(record, func(t *testing.T) {
			names, err := filepath.Glob(filepath.Join(dir, pattern))
			if err != nil || len(names) == 0 {
				t.Fatal(names, err)
			}
			rep, err := inspect.File(context.Background(), names[0])
			if err != nil {
				t.Fatal(err)
			}
			draft, err := inspect.Draft(rep, record)
			if err != nil {
				t.Fatal(err)
			}
			var any map[string]any
			if err := yaml.Unmarshal(draft, &any); err != nil {
				t.Fatalf("the draft is no YAML: %v\n%s", err, draft)
			}
			if _, err := source.Parse("draft.yaml", draft, dict); err == nil {
				t.Error("a draft with open gaps was read; want it refused")
			}
			filled := fill(t, string(draft), record)
			d, err := source.Parse("draft.yaml", []byte(filled), dict)
			if err != nil {
				t.Fatalf("%v\n%s", err, filled)
			}
			if d.Match != pattern || d.Record() != record || d.Exported.FileName == nil || d.Exported.FileName.FindStringSubmatch(names[0]) == nil {
				t.Errorf("match %q, record %q, exported_at %v; want those of the file %s", d.Match, d.Record(), d.Exported.FileName, filepath.Base(names[0]))
			}
			header := headerOf(rep)
			columns, _ := d.ExportColumns()
			for _, c := range columns {
				if !slices.Contains(header, c) {
					t.Errorf("column %q is not in the export", c)
				}
			}
		})
	}
}

func headerOf(rep *inspect.Report) (names []string) {
	for _, c := range rep.Columns {
		names = append(names, c.Name)
	}
	return names
}

func TestDraftOfAnUnknownRecord(t *testing.T) {
	if _, err := inspect.Draft(look(t, "x.csv", "a;b\n1;2\n"), "visits"); !errors.Is(err, inspect.ErrNoDraft) {
		t.Errorf("%v; want ErrNoDraft", err)
	}
}
