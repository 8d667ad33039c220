package metrics_test

import (
	"fmt"
	"math/rand/v2"

	"hindcheck/metrics"
)

// Breaths a minute of sleeping cats, invented: which value should send the animal in?
func ExampleChooseThreshold() {
	counts := []metrics.ValueCount{
		{Value: 20, Needed: 2, NotNeeded: 310},
		{Value: 25, Needed: 3, NotNeeded: 160},
		{Value: 30, Needed: 9, NotNeeded: 52},
		{Value: 35, Needed: 21, NotNeeded: 19},
		{Value: 40, Needed: 65, NotNeeded: 6},
	}
	// The line says beforehand that one missed cat is worth twenty needless visits.
	by, err := metrics.ByCostRatio(20)
	if err != nil {
		fmt.Println(err)
		return
	}
	c, err := metrics.ChooseThreshold(counts, metrics.HighIsBad, by, 10, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(c.Criterion)
	fmt.Printf("%v: sensitivity %.2f (%.2f to %.2f), specificity %.2f (%.2f to %.2f)\n", c.Threshold,
		c.Sensitivity.Value, c.Sensitivity.Low, c.Sensitivity.High, c.Specificity.Value, c.Specificity.Low, c.Specificity.High)
	fmt.Printf("exactly on the threshold: %.0f of %.0f\n", c.AtThreshold.Numerator, c.AtThreshold.Denominator)

	// How firmly do these cats choose it?
	b, err := metrics.BootstrapThreshold(counts, metrics.HighIsBad, by, 2000, 10, 0.95, rand.New(rand.NewPCG(1, 2)))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("threshold %v to %v\n", b.Upper.Low, b.Upper.High)
	// Output:
	// least cost, one miss = 20 needless referrals
	// >= 30: sensitivity 0.95 (0.89 to 0.98), specificity 0.86 (0.83 to 0.89)
	// exactly on the threshold: 61 of 647
	// threshold 30 to 30
}

// An invented proposal: two rule sets on the same 400 verified calls.
func ExampleCompareRules() {
	pair := metrics.RulePair{
		Needed:    metrics.PairedCounts{Both: 70, FirstOnly: 14, SecondOnly: 4, Neither: 12},
		NotNeeded: metrics.PairedCounts{Both: 60, FirstOnly: 30, SecondOnly: 12, Neither: 198},
	}
	c, err := metrics.CompareRules(pair, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("sensitivity: %+.2f (%+.2f to %+.2f), P %.3f\n", c.SensitivityDifference.Value,
		c.SensitivityDifference.Low, c.SensitivityDifference.High, c.SensitivityTest.P)
	fmt.Printf("specificity: %+.2f (%+.2f to %+.2f), P %.3f\n", c.SpecificityDifference.Value,
		c.SpecificityDifference.Low, c.SpecificityDifference.High, c.SpecificityTest.P)
	even, err := metrics.BreakEven(pair, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("worth the same at a threshold probability of %.2f\n", even.Value)
	// Output:
	// sensitivity: +0.10 (+0.02 to +0.19), P 0.019
	// specificity: -0.06 (-0.10 to -0.02), P 0.005
	// worth the same at a threshold probability of 0.36
}
