package main

import (
	"encoding/json"
	"testing"

	"hindcheck/cmd/report/internal/demoline"
	"hindcheck/cmd/report/internal/thresholds"
)

// The demonstration line plants one threshold that is too lax: cats are sent in
// from 60 breaths a minute, while need rises from 40. From what the exports show,
// the choice must move down, to an interval that holds 40 or comes near it, and
// the threshold in force must be shown to miss most cats in need.
func TestThresholdsFindTheLaxOne(t *testing.T) {
	if testing.Short() {
		t.Skip("loads a whole line")
	}
	dir, err := wholeLine()
	if err != nil {
		t.Fatal(err)
	}
	var r thresholds.Result
	out := run(t, "thresholds", "breathing_rate", "--store", demoline.Store(dir), "--species", "cat", "--criterion", "youden", "--format", "json")
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	g := r.Groups[0]
	choice := g.Choices[0]
	if choice.Upper == nil || g.Present == nil {
		t.Fatalf("nothing is chosen: %+v", choice)
	}
	t.Logf("in force %s, sensitivity %.2f to %.2f; chosen %s, interval %.0f to %.0f, sensitivity %.2f", g.Rule, *g.Present.Fit.Sensitivity.Low, *g.Present.Fit.Sensitivity.High,
		choice.Trial.Rule, *choice.Upper.Low, *choice.Upper.High, *choice.Trial.Fit.Sensitivity.Estimate)
	if at := *choice.Upper.Estimate; at < 36 || at > 48 || *choice.Upper.High >= 60 || *choice.Upper.Low > 44 {
		t.Errorf("chosen %v (%v to %v), planted at 40", at, *choice.Upper.Low, *choice.Upper.High)
	}
	if *g.Present.Fit.Sensitivity.High > 0.5 || *choice.Trial.Fit.Sensitivity.Estimate < 0.6 {
		t.Error("the threshold in force is not shown to miss most, or the choice to find them")
	}
	// What was promised on the earlier months holds on the later ones.
	if f, j := choice.Trial.Fit, choice.Trial.Judge; *j.Sensitivity.High < *f.Sensitivity.Low || *j.Specificity.High < *f.Specificity.Low {
		t.Errorf("later months: %v and %v, promised %v and %v", j.Sensitivity, j.Specificity, f.Sensitivity, f.Specificity)
	}
}
