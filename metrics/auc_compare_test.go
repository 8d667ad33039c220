package metrics

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func TestPairedAreasAgainstOutsideValues(t *testing.T) {
	for _, c := range readChecks(t, "roc") {
		if !strings.HasPrefix(c.ID, "roc-04") {
			continue
		}
		t.Run(c.ID, func(t *testing.T) {
			var in struct{ Joint [][4]float64 }
			c.input(t, &in)
			joint := make([]JointCount, len(in.Joint))
			for i, r := range in.Joint {
				joint[i] = JointCount{First: r[0], Second: r[1], Needed: int64(r[2]), NotNeeded: int64(r[3])}
			}
			got, err := CompareAreasPaired(joint, HighIsBad, HighIsBad, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			c.near(t, "auc1", got.First.Value)
			c.near(t, "auc2", got.Second.Value)
			c.estimate(t, "diff", "diff_ci", got.Difference)
			c.near(t, "delong_cov", got.Covariance)
			c.near(t, "z", got.Test.Statistic)
			c.near(t, "p", got.Test.P)
			c.allRead(t)
			if got.WelchTest.Estimable() {
				t.Error("the test for separate groups was made on pairs")
			}
		})
	}
}

func TestUnpairedAreasAgainstOutsideValues(t *testing.T) {
	c := checkByID(t, "roc", "roc-05")
	var in struct{ Male, Female [][3]float64 }
	c.input(t, &in)
	got, err := CompareAreasUnpaired(valueCounts(in.Male), HighIsBad, valueCounts(in.Female), HighIsBad, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "auc_male", got.First.Value)
	c.near(t, "auc_female", got.Second.Value)
	c.near(t, "d_statistic", got.Test.Statistic)
	c.near(t, "p_normal", got.Test.P)
	c.near(t, "df_welch", got.WelchTest.DF)
	c.near(t, "p_t", got.WelchTest.P)
	c.allRead(t)
}

// A finding against its own copy differs by nothing and has no variance; against itself
// turned round the covariance is minus the variance.
func TestPairedAreasOfTheSameFinding(t *testing.T) {
	r := rand.New(rand.NewPCG(10, 11))
	for trial := range 200 {
		var joint []JointCount
		var counts []ValueCount
		for _, c := range randomValueCounts(r) {
			joint = append(joint, JointCount{First: c.Value, Second: -c.Value, Needed: c.Needed, NotNeeded: c.NotNeeded})
			counts = append(counts, c)
		}
		a := mustArea(t)(AUCDeLong(counts, HighIsBad, 0.95))
		same, err := CompareAreasPaired(joint, HighIsBad, LowIsBad, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if same.Difference.Estimable() || same.Test.Estimable() {
			t.Fatalf("trial %d: a finding differs from itself: %+v", trial, same)
		}
		turned, err := CompareAreasPaired(joint, HighIsBad, HighIsBad, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if a.VarianceDefined && math.Abs(turned.Covariance+a.Variance) > 1e-12 {
			t.Fatalf("trial %d: covariance with the turned finding %v, variance %v", trial, turned.Covariance, a.Variance)
		}
		checkSane(t, "turned difference", turned.Difference, -1, 1)
	}
}
