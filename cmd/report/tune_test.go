package main

import (
	"encoding/json"
	"testing"

	"hindcheck/cmd/report/internal/demoline"
	"hindcheck/cmd/report/internal/tune"
)

func tuned(t *testing.T, dir string, args ...string) *tune.Result {
	t.Helper()
	var r tune.Result
	out := run(t, append([]string{"tune", "--store", demoline.Store(dir), "--format", "json"}, args...)...)
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	return &r
}

// On the demonstration line several thresholds move at once: the one that is
// known to be too lax must come down towards the 40 at which need begins, more
// animals must be caught for the referrals allowed, and what the earlier months
// promise must hold on the later ones, within the stated interval.
func TestTuneFindsTheLaxThreshold(t *testing.T) {
	if testing.Short() {
		t.Skip("loads a whole line")
	}
	dir, err := wholeLine()
	if err != nil {
		t.Fatal(err)
	}
	r := tuned(t, dir, "--criterion", "extra=0.2")
	if r.Chosen == nil {
		t.Fatal(r.NotEstimable)
	}
	found := false
	for _, x := range r.Tuned {
		if x.Flag == "fast_breathing_cat" {
			found = x.InForce == "at least 60" && (x.Chosen == "at least 36" || x.Chosen == "at least 40" || x.Chosen == "at least 44" || x.Chosen == "at least 48")
			t.Logf("%s: %s became %s", x.Flag, x.InForce, x.Chosen)
		}
	}
	if !found {
		t.Errorf("the lax threshold did not come down: %+v", r.Tuned)
	}
	was, is := r.Present.Fit, r.Chosen.Fit
	if *is.Sensitivity.Estimate <= *was.Sensitivity.Estimate || *is.PerDay.Estimate > *was.PerDay.Estimate+0.2 {
		t.Errorf("sensitivity %v to %v for %v to %v referrals a day", *was.Sensitivity.Estimate, *is.Sensitivity.Estimate, *was.PerDay.Estimate, *is.PerDay.Estimate)
	}
	for name, o := range map[string]struct{ low, high float64 }{
		"sensitivity": {*r.Optimism.Sensitivity.Low, *r.Optimism.Sensitivity.High}, "specificity": {*r.Optimism.Specificity.Low, *r.Optimism.Specificity.High},
	} {
		if o.low > 0 || o.high < 0 {
			t.Errorf("%s promised minus shown: %v to %v does not hold 0", name, o.low, o.high)
		}
	}
}

// The flag that is known to be too cautious stands out among those that alone
// send animals in as emergencies: next to none of them needed it.
func TestTuneNamesTheCautiousFlag(t *testing.T) {
	if testing.Short() {
		t.Skip("loads a whole line")
	}
	dir, err := wholeLine()
	if err != nil {
		t.Fatal(err)
	}
	r := tuned(t, dir, "--cut", "emergency", "--criterion", "extra=0")
	var cautious []string
	for _, f := range r.ByThemselves {
		if f.Cautious {
			cautious = append(cautious, f.Flag)
		}
	}
	if len(cautious) != 1 || cautious[0] != "mouth_breathing_after_stress" {
		t.Errorf("named as too cautious: %v", cautious)
	}
	// Named, it may be left out, and next to nothing is missed.
	off := tuned(t, dir, "--cut", "emergency", "--criterion", "extra=-0.3", "--flag", "mouth_breathing_after_stress")
	if off.Tuned[0].Chosen != "off" || *off.Present.Fit.Sensitivity.Estimate-*off.Chosen.Fit.Sensitivity.Estimate > 0.01 || *off.Chosen.Fit.Specificity.Estimate <= *off.Present.Fit.Specificity.Estimate {
		t.Errorf("left out: %+v", off.Chosen)
	}
}
