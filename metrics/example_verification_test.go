package metrics_test

import (
	"fmt"
	"math/rand/v2"

	"hindcheck/metrics"
)

// homeLine is a made-up year in two strata: the test is the advice given, so
// marked episodes were sent in and unmarked ones stayed at home, where some came
// in all the same and some were telephoned.
var homeLine = []metrics.VerificationStratum{
	{
		Name:    "dogs",
		Present: metrics.VerificationCell{SampledNeeded: 820, SampledNotNeeded: 2900, Unverified: 2480},
		Absent:  metrics.VerificationCell{FoundNeeded: 52, FoundNotNeeded: 290, SampledNeeded: 4, SampledNotNeeded: 310, Unverified: 8644},
	},
	{
		Name:    "cats",
		Present: metrics.VerificationCell{SampledNeeded: 510, SampledNotNeeded: 1350, Unverified: 1240},
		Absent:  metrics.VerificationCell{FoundNeeded: 31, FoundNotNeeded: 160, SampledNeeded: 2, SampledNotNeeded: 170, Unverified: 4837},
	},
}

// The naive sensitivity counts those whom a vet happened to see; the corrected one
// adds those whom nobody saw.
func ExampleCorrected() {
	c, err := metrics.Corrected(homeLine, metrics.CorrectionOptions{
		Conf: 0.95, MinSampled: 10, Draws: 4000, Rand: rand.New(rand.NewPCG(1, 2)),
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	show := func(name string, e metrics.Estimate) {
		fmt.Printf("%s %.2f (%.2f to %.2f)\n", name, e.Value, e.Low, e.High)
	}
	show("naive", c.Naive.Sensitivity)
	show("corrected", c.Sensitivity)
	fmt.Printf("missed about %.0f, of which %d made themselves known and %d were found among %d followed up\n",
		c.Missed.Value, c.MissedFound, c.MissedSampled, c.FollowedUp)
	fmt.Printf("whatever the unseen are: %.2f to %.2f\n", c.Bounds.Sensitivity.Low, c.Bounds.Sensitivity.High)
	// Output:
	// naive 0.94 (0.92 to 0.95)
	// corrected 0.90 (0.83 to 0.94)
	// missed about 255, of which 83 made themselves known and 6 were found among 486 followed up
	// whatever the unseen are: 0.09 to 0.98
}

// The verdict "at or above 0.8" stands unless nearly three times as many of the
// unseen were in need as the telephone calls suggest.
func ExampleTippingPoint() {
	t, err := metrics.TippingPoint(homeLine, 0.8)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("seen: %.1f %% of those followed up were in need\n", 100*t.SeenRate)
	fmt.Printf("0.8 would be reached at %.1f %% of the unseen\n", 100*t.Rate)
	// Output:
	// seen: 1.2 % of those followed up were in need
	// 0.8 would be reached at 3.5 % of the unseen
}
