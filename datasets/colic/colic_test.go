package colic

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"go.yaml.in/yaml/v3"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/intake"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/source"
)

// horse is one row of the file by column.
type horse map[string]string

func horses(t *testing.T) []horse {
	t.Helper()
	f, err := Files().Open("horse_colic.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]horse, len(all)-1)
	for i, r := range all[1:] {
		out[i] = horse{}
		for k, name := range all[0] {
			out[i][name] = r[k]
		}
	}
	return out
}

// ruleFile and mapping are as much of the YAML files as the plain reading needs.
type ruleFile struct {
	Flags []struct {
		ID  string
		All []struct {
			Finding      string
			Is           []string
			Above, Below *float64
		}
	}
}

type mapping struct {
	Wide map[string]struct {
		Finding string
		Words   map[string]string
	}
}

func decode(t *testing.T, name string, into any) {
	t.Helper()
	data, err := fs.ReadFile(Files(), name)
	if err != nil {
		t.Fatal(err)
	}
	if err := yaml.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

// sign evaluates one flag on one horse: present, or missing.
func (f ruleFile) sign(t *testing.T, m mapping, id string, h horse) (present, missing bool) {
	t.Helper()
	i := slices.IndexFunc(f.Flags, func(x struct {
		ID  string
		All []struct {
			Finding      string
			Is           []string
			Above, Below *float64
		}
	}) bool {
		return x.ID == id
	})
	if i < 0 {
		t.Fatalf("rules.yaml has no flag %s", id)
	}
	c := f.Flags[i].All[0]
	for column, w := range m.Wide {
		if w.Finding != c.Finding {
			continue
		}
		cell := h[column]
		if cell == "" {
			return false, true
		}
		if w.Words != nil {
			return slices.Contains(c.Is, w.Words[cell]), false
		}
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			t.Fatal(err)
		}
		return c.Above != nil && v > *c.Above || c.Below != nil && v < *c.Below, false
	}
	t.Fatalf("checks.yaml maps no column to %s", c.Finding)
	return false, false
}

// expected is the file of figures that were computed elsewhere.
type expected struct {
	Flags []struct {
		Flag               string
		AnyOf              []string `json:"any_of"`
		CaseDefinition     string   `json:"case_definition"`
		NTotal             int      `json:"n_total"`
		MissingSignOnly    int      `json:"missing_sign_only"`
		MissingOutcomeOnly int      `json:"missing_outcome_only"`
		MissingBoth        int      `json:"missing_both"`
		TP, FP, FN, TN     int
	}
}

// Flags, word tables and case definitions give the counts that were computed
// outside the project.
func TestFlagsGiveTheOutsideCounts(t *testing.T) {
	var want expected
	data, err := os.ReadFile("testdata/expected.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &want); err != nil {
		t.Fatal(err)
	}
	if len(want.Flags) != 28 {
		t.Fatalf("%d expected flags, want 14 signs against two definitions", len(want.Flags))
	}
	var f ruleFile
	var m mapping
	decode(t, "rules.yaml", &f)
	decode(t, "sources/checks.yaml", &m)
	all := horses(t)
	for _, w := range want.Flags {
		var tp, fp, fn, tn, noSign, noOutcome, neither int
		for _, h := range all {
			ids := w.AnyOf
			if ids == nil {
				ids = []string{w.Flag}
			}
			present, missing := false, false
			for _, id := range ids {
				p, mi := f.sign(t, m, id, h)
				present, missing = present || p, missing || mi
			}
			ill, unknown := h["outcome"] != "1", h["outcome"] == ""
			if w.CaseDefinition == "colic_surgical_lesion" {
				ill, unknown = h["surgical_lesion"] == "1", false
			}
			switch {
			case missing && unknown:
				neither++
			case missing:
				noSign++
			case unknown:
				noOutcome++
			case present && ill:
				tp++
			case present:
				fp++
			case ill:
				fn++
			default:
				tn++
			}
		}
		got := [7]int{tp, fp, fn, tn, noSign, noOutcome, neither}
		if exp := [7]int{w.TP, w.FP, w.FN, w.TN, w.MissingSignOnly, w.MissingOutcomeOnly, w.MissingBoth}; got != exp || len(all) != w.NTotal {
			t.Errorf("%s against %s: got %v, want %v (tp fp fn tn, missing sign, outcome, both)", w.Flag, w.CaseDefinition, got, exp)
		}
	}
}

// The reader takes every row of the file under each description.
func TestReaderTakesTheFile(t *testing.T) {
	dir := t.TempDir()
	data, err := fs.ReadFile(Files(), "horse_colic.csv")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "horse_colic.csv")
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	more, err := fs.ReadFile(Files(), "dictionary.yaml")
	if err != nil {
		t.Fatal(err)
	}
	dict, err := findings.Default().Extend("dictionary.yaml", more)
	if err != nil {
		t.Fatal(err)
	}
	key, err := privacy.NewKey([]byte("a key for this test alone 123456"))
	if err != nil {
		t.Fatal(err)
	}
	exported, err := time.Parse(time.DateOnly, ExportedDay)
	if err != nil {
		t.Fatal(err)
	}
	for name, rows := range map[string]int64{"calls.yaml": 300, "checks.yaml": 300 * 19, "outcomes.yaml": 300} {
		text, err := fs.ReadFile(Files(), "sources/"+name)
		if err != nil {
			t.Fatal(err)
		}
		desc, err := source.Parse(name, text, dict)
		if err != nil {
			t.Fatal(err)
		}
		r, err := intake.Read(context.Background(), intake.Input{Path: path, Desc: desc, Dict: dict, Key: key, Dir: t.TempDir(),
			ExportedAt: exported, Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		if r.Staged != rows || r.SetAside != 0 {
			t.Errorf("%s: %d rows staged, %d set aside (%v), want %d and 0; %v", name, r.Staged, r.SetAside, r.Reasons, rows, r.Examples)
		}
	}
}

// Two visits of one horse must not become one episode of 72 h.
func TestVisitsOfOneHorseLieApart(t *testing.T) {
	last, twice := map[string]int{}, 0
	for _, h := range horses(t) {
		row, err := strconv.Atoi(h["row"])
		if err != nil {
			t.Fatal(err)
		}
		if before, ok := last[h["hospital_number"]]; ok {
			twice++
			if row-before < 4 {
				t.Errorf("horse %s: rows %d and %d lie within 72 h of made-up dates", h["hospital_number"], before, row)
			}
		}
		last[h["hospital_number"]] = row
	}
	if twice != 16 {
		t.Errorf("%d horses came twice, want 16", twice)
	}
}
