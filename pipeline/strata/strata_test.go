package strata

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/pipeline/strict"
)

const text = `strata: s_1
title: T
dimensions: [level, species, site]
collapse: [site, species]
min_verified: 10
`

func TestParse(t *testing.T) {
	s, err := Parse("s.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	want := &Strata{File: "s.yaml", ID: "s_1", Title: "T", Dimensions: []string{"level", "species", "site"},
		Collapse: []string{"site", "species"}, MinVerified: 10}
	if diff := cmp.Diff(want, s); diff != "" {
		t.Error(diff)
	}
	steps := [][]string{{"level", "species", "site"}, {"level", "species"}, {"level"}}
	if diff := cmp.Diff(steps, s.Steps()); diff != "" {
		t.Error(diff)
	}
	if !slices.Equal(s.Dimensions, want.Dimensions) {
		t.Error("Steps changed the dimensions")
	}
	other, err := Parse("s.yaml", []byte(strings.Replace(text, "10", "11", 1)))
	if err != nil || other.Hash() == s.Hash() {
		t.Errorf("the hash must follow the content (%v)", err)
	}
	if level, err := Parse("s.yaml", []byte("strata: s\ntitle: T\ndimensions: level\nmin_verified: 1")); err != nil || len(level.Steps()) != 1 {
		t.Errorf("the level alone is enough: %v", err)
	}
}

func TestLoad(t *testing.T) {
	demo, err := Load("../../datasets/demo/strata.yaml")
	if err != nil || demo.MinVerified != 10 {
		t.Errorf("demonstration: %v", err)
	}
	if d, err := Load(""); err != nil || !slices.Contains(d.Dimensions, Level) {
		t.Errorf("default: %v", err)
	}
	if _, err := Load(filepath.Join(t.TempDir(), "none.yaml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing: %v", err)
	}
}

func TestParseProblems(t *testing.T) {
	for name, c := range map[string]struct{ from, to, want string }{
		"unknown key":       {"collapse", "collaps", `s.yaml:4:1: expected one of the keys strata,`},
		"no level":          {"[level, species, site]", "[species, site]", "expected level among the dimensions"},
		"outcome":           {"[level, species, site]", "[level, disposition]", "expected one of level, site, species"},
		"hostile":           {"[level, species, site]", "[level, \"site; DROP TABLE cases\"]", "expected one of level"},
		"twice":             {"[level, species, site]", "[level, site, site]", "expected each value once"},
		"collapse level":    {"[site, species]", "[level]", "the level is never dropped"},
		"collapse stranger": {"[site, species]", "[sex]", "expected dimensions that stand under dimensions"},
		"zero":              {"min_verified: 10", "min_verified: 0", "expected a whole number from 1"},
		"nan":               {"min_verified: 10", "min_verified: .nan", "expected a whole number from 1"},
		"missing":           {"min_verified: 10", "", "expected the key min_verified"},
	} {
		_, err := Parse("s.yaml", []byte(strings.Replace(text, c.from, c.to, 1)))
		var p *strict.Problem
		if !errors.As(err, &p) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v\nwant it to contain %s", name, err, c.want)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add(text)
	f.Add("strata: s\ntitle: T\ndimensions: level\nmin_verified: 1")
	f.Add("dimensions: [level, [level]]")
	f.Fuzz(func(t *testing.T, s string) {
		d, err := Parse("f", []byte(s))
		if err != nil {
			return
		}
		for _, step := range d.Steps() {
			if !slices.Contains(step, Level) {
				t.Fatalf("a step without the level: %v", d.Steps())
			}
		}
	})
}
