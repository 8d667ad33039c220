package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/datasets/colic"
	"hindcheck/metrics"
	"hindcheck/pipeline"
	"hindcheck/pipeline/privacy"
	"hindcheck/queries"
)

// Records of real horses, from the file to the page. The figures to find were
// computed outside the project, in R (datasets/colic/testdata/expected.json
// names the packages). Nobody rang about these horses, so there is no advice,
// and what needs an advice must say so.

// colicStore loads the open colic records under one case definition, with their
// own descriptions, dictionary and rules, and returns the store.
func colicStore(t *testing.T, caseDefinition string) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, colic.Files()); err != nil {
		t.Fatal(err)
	}
	exported, err := time.Parse(time.DateOnly, colic.ExportedDay)
	if err != nil {
		t.Fatal(err)
	}
	key, err := privacy.NewKey(bytes.Repeat([]byte{9, 10}, 16))
	if err != nil {
		t.Fatal(err)
	}
	in := func(name string) string { return filepath.Join(dir, name) }
	if _, err = pipeline.Load(context.Background(), pipeline.LoadOptions{
		Store: in("store"), Exports: []string{in("horse_colic.csv")}, Sources: []string{in("sources")},
		Files: pipeline.DefinitionFiles{Dictionary: in("dictionary.yaml"), Rules: in("rules.yaml"), CaseDefinition: in(caseDefinition), Strata: in("strata.yaml")},
		Key:   key, ExportedAt: exported, Now: exported.AddDate(0, 0, 1), Threads: 2, Software: "test",
	}); err != nil {
		t.Fatal(err)
	}
	return in("store")
}

// outsideShare is a proportion with Wilson's limits at 95 %.
type outsideShare struct {
	Estimate float64
	Wilson   [2]float64
}

type outsideFlag struct {
	Flag               string
	AnyOf              []string `json:"any_of"`
	CaseDefinition     string   `json:"case_definition"`
	MissingSignOnly    int64    `json:"missing_sign_only"`
	MissingOutcomeOnly int64    `json:"missing_outcome_only"`
	MissingBoth        int64    `json:"missing_both"`
	TP, FP, FN, TN     int64

	Sensitivity, Specificity, PPV, NPV outsideShare
}

type outsideArea struct {
	Finding        string
	CaseDefinition string `json:"case_definition"`
	NPos           int64  `json:"n_pos"`
	NNeg           int64  `json:"n_neg"`
	AUC            float64
	DeLongVar      float64 `json:"delong_var"`
}

func outsideFigures(t *testing.T) (flags []outsideFlag, areas []outsideArea) {
	t.Helper()
	data, err := os.ReadFile("../../datasets/colic/testdata/expected.json")
	if err != nil {
		t.Fatal(err)
	}
	file := struct {
		Flags []outsideFlag
		ROC   []outsideArea
	}{}
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	return file.Flags, file.ROC
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-8*math.Abs(b)+1e-12 }

var colicDefinitions = map[string]string{"colic_death": "death.yaml", "colic_surgical_lesion": "surgical_lesion.yaml"}

func TestColicFlags(t *testing.T) {
	want, areas := outsideFigures(t)
	for id, file := range colicDefinitions {
		store := colicStore(t, file)
		var got review.Flags
		if err := json.Unmarshal([]byte(run(t, "flags", "--store", store, "--format", "json", "--cut", "emergency")), &got); err != nil {
			t.Fatal(err)
		}
		by := map[string]review.Flag{}
		for _, f := range got.Flags {
			by[f.Flag] = f
			saysNoAdvice(t, f)
		}
		compared := 0
		for _, w := range want {
			if w.CaseDefinition != id {
				continue
			}
			compareColicFlag(t, id, w, by)
			compared++
		}
		if compared != 14 || got.CaseDefinition != id {
			t.Errorf("%s: %d signs compared under %s, want 14", id, compared, got.CaseDefinition)
		}
		compareColicAreas(t, store, id, areas)
	}
}

// saysNoAdvice asks that nothing about advice is said of horses without one:
// neither that they were escalated nor that they were not.
func saysNoAdvice(t *testing.T, f review.Flag) {
	t.Helper()
	e := f.Escalated
	if y := e.Present.Yes + e.Present.No + e.Absent.Yes + e.Absent.No + e.NotAssessed.Yes + e.NotAssessed.No; y != 0 {
		t.Errorf("%s: %d horses escalated or not, though no advice is on record", f.Flag, y)
	}
	if n := e.Present.NoAdvice + e.Absent.NoAdvice + e.NotAssessed.NoAdvice; n != 300 {
		t.Errorf("%s: %d horses without advice, want 300", f.Flag, n)
	}
	for of, x := range map[string]review.Figure{
		"escalated when present": f.EscalatedWhenPresent, "corrected sensitivity": f.Corrected.Sensitivity, "corrected specificity": f.Corrected.Specificity,
		"corrected PPV": f.Corrected.PPV, "corrected NPV": f.Corrected.NPV, "operational sensitivity": f.Operational.Sensitivity,
	} {
		if x.Estimable() || x.NotEstimable == "" {
			t.Errorf("%s: %s is %+v, want it not estimable", f.Flag, of, x)
		}
	}
	if !strings.Contains(f.Corrected.Sensitivity.NotEstimable, "advice") {
		t.Errorf("%s: reason %q does not name the missing advice", f.Flag, f.Corrected.Sensitivity.NotEstimable)
	}
}

// compareColicFlag compares counts, naive figures and the three ways of treating
// a missing sign: left out (naive), counted apart (not assessed), and the whole
// range (bounds, for a missing outcome).
func compareColicFlag(t *testing.T, id string, w outsideFlag, by map[string]review.Flag) {
	t.Helper()
	if len(w.AnyOf) > 0 { // two ends of one reading, which exclude each other
		a, b := by[w.AnyOf[0]].Counts.Verified, by[w.AnyOf[1]].Counts.Verified
		if union := (review.Cells{TP: a.TP + b.TP, FP: a.FP + b.FP, FN: a.FN - b.TP, TN: a.TN - b.FP}); union != (review.Cells{TP: w.TP, FP: w.FP, FN: w.FN, TN: w.TN}) {
			t.Errorf("%s, %s: %+v, want %d %d %d %d", id, w.Flag, union, w.TP, w.FP, w.FN, w.TN)
		}
		return
	}
	f := by[w.Flag]
	c := f.Counts
	if c.Verified != (review.Cells{TP: w.TP, FP: w.FP, FN: w.FN, TN: w.TN}) || c.Verified != c.ByRoute["advised_visit"] {
		t.Errorf("%s, %s: %+v, want %d %d %d %d", id, w.Flag, c.Verified, w.TP, w.FP, w.FN, w.TN)
	}
	var missing, missingBoth int64
	for _, n := range c.NotAssessed {
		missing += n.Needed + n.NotNeeded
		missingBoth += n.Unverified
	}
	if unknown := c.Unverified.Present + c.Unverified.Absent; missing != w.MissingSignOnly || missingBoth != w.MissingBoth || unknown != w.MissingOutcomeOnly {
		t.Errorf("%s, %s: %d without the sign, %d without both, %d without the outcome; want %d, %d, %d",
			id, w.Flag, missing, missingBoth, unknown, w.MissingSignOnly, w.MissingBoth, w.MissingOutcomeOnly)
	}
	for _, x := range []struct {
		of     string
		figure review.Figure
		want   outsideShare
		bounds review.Range
	}{
		{"sensitivity", f.Naive.Sensitivity, w.Sensitivity, f.Bounds.Sensitivity}, {"specificity", f.Naive.Specificity, w.Specificity, f.Bounds.Specificity},
		{"PPV", f.Naive.PPV, w.PPV, f.Bounds.PPV}, {"NPV", f.Naive.NPV, w.NPV, f.Bounds.NPV},
	} {
		g := x.figure
		if !g.Estimable() || !near(*g.Estimate, x.want.Estimate) || !near(*g.Low, x.want.Wilson[0]) || !near(*g.High, x.want.Wilson[1]) {
			t.Errorf("%s, %s: naive %s %+v, want %+v", id, w.Flag, x.of, g, x.want)
		}
		if x.bounds.Low == nil || *x.bounds.Low > x.want.Estimate+1e-9 || *x.bounds.High < x.want.Estimate-1e-9 || *x.bounds.High-*x.bounds.Low > 0.02 {
			t.Errorf("%s, %s: bounds of %s %+v, want them around %v: at most one horse lacks the outcome", id, w.Flag, x.of, x.bounds, x.want.Estimate)
		}
	}
}

// compareColicAreas goes from stored values to the area under the ROC curve.
func compareColicAreas(t *testing.T, store, id string, areas []outsideArea) {
	t.Helper()
	ctx := context.Background()
	db, err := queries.Open(ctx, store, queries.OpenOptions{Threads: 2})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	scope := queries.Scope{From: 200001, To: 200012, MatureBefore: db.Meta().DataCut}
	compared := 0
	for _, w := range areas {
		if w.CaseDefinition != id {
			continue
		}
		rows, err := db.FindingValues(ctx, scope, 4, w.Finding)
		if err != nil {
			t.Fatal(err)
		}
		scale := 1.0
		for _, f := range db.Meta().Findings {
			if f.ID == w.Finding {
				scale = float64(f.Scale)
			}
		}
		by := map[int]metrics.ValueCount{}
		for _, r := range rows {
			c := by[r.Value]
			c.Value = float64(r.Value) / scale
			switch {
			case r.Value < 0 || r.Need < 0:
				continue
			case r.Need == 1:
				c.Needed += r.N
			default:
				c.NotNeeded += r.N
			}
			by[r.Value] = c
		}
		var counts []metrics.ValueCount
		for _, c := range by {
			counts = append(counts, c)
		}
		got, err := metrics.AUCDeLong(counts, metrics.HighIsBad, 0.95)
		if err != nil || got.Needed != w.NPos || got.NotNeeded != w.NNeg || !near(got.Value, w.AUC) || !near(got.Variance, w.DeLongVar) {
			t.Errorf("%s, %s: area %v (variance %v) of %d and %d, %v; want %+v", id, w.Finding, got.Value, got.Variance, got.Needed, got.NotNeeded, err, w)
		}
		compared++
	}
	if compared != 4 {
		t.Errorf("%s: %d areas compared, want 4", id, compared)
	}
}

// A review of horses nobody rang about neither fails nor makes up an advice.
func TestColicReview(t *testing.T) {
	store := colicStore(t, "death.yaml")
	var r review.Review
	if err := json.Unmarshal([]byte(run(t, "monthly", "--store", store, "--format", "json")), &r); err != nil {
		t.Fatal(err)
	}
	if r.Conclusion.Verdict != review.NoConclusion || !strings.Contains(strings.Join(r.Conclusion.Limitations, " "), "300 mature episodes of the period have no advice level") {
		t.Errorf("verdict %s, limitations %q", r.Conclusion.Verdict, r.Conclusion.Limitations)
	}
	for _, x := range append(r.Advice, r.Rules...) {
		if x.NoAdvice != 300 || x.Escalated != 0 || x.NotEscalated != 0 || x.Verified != (review.Cells{}) {
			t.Errorf("%s at %s: %d without advice, %d escalated, %d not, %+v", x.Index, x.Cut, x.NoAdvice, x.Escalated, x.NotEscalated, x.Verified)
		}
		for of, f := range map[string]review.Figure{
			"naive sensitivity": x.Naive.Sensitivity, "corrected sensitivity": x.Corrected.Sensitivity, "missed": x.Missed, "needed": x.Needed,
			"under-triage": x.Under[0].Corrected, "over-triage": x.Over[0].Corrected,
		} {
			if f.Estimable() || !strings.Contains(f.NotEstimable, "no episode has an advice level") {
				t.Errorf("%s at %s: %s is %+v, want the missing advice as the reason", x.Index, x.Cut, of, f)
			}
		}
	}
	for _, p := range r.Trend {
		if p.Escalated.Estimable() || p.Emergency.Estimable() {
			t.Errorf("%s: escalated %+v, though no advice is on record", p.Month, p.Escalated)
		}
	}
	for _, format := range []string{"text", "csv", "html"} {
		if out := run(t, "monthly", "--store", store, "--format", format); len(out) < 1000 {
			t.Errorf("%s: only %d bytes", format, len(out))
		}
	}
}
