package metrics_test

import (
	"fmt"

	"hindcheck/metrics"
)

// Three flags of a rule set: what would be missed without each?
func ExampleLeaveOneFlagOut() {
	// Bit 0: gums white, grey or blue; bit 1: cannot stand; bit 2: refill 2 s or more.
	patterns := map[uint64]metrics.NeedCount{
		0b000: {Needed: 6, NotNeeded: 310},
		0b001: {Needed: 9, NotNeeded: 4},
		0b010: {Needed: 21, NotNeeded: 12},
		0b100: {Needed: 1, NotNeeded: 40},
		0b011: {Needed: 14, NotNeeded: 1},
		0b110: {Needed: 3, NotNeeded: 2},
	}
	res, err := metrics.LeaveOneFlagOut(patterns, 3, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, f := range res.Flags {
		lost, gained := f.SensitivityLost, f.SpecificityGained
		fmt.Printf("flag %d: alone in %.0f of %.0f in need (%.0f to %.0f %%), %.0f of %.0f not in need\n",
			f.Flag, lost.Numerator, lost.Denominator, 100*lost.Low, 100*lost.High, gained.Numerator, gained.Denominator)
	}
	fmt.Println(res.Flags[2].SensitivityLost.Warnings[0])
	// Output:
	// flag 0: alone in 9 of 54 in need (9 to 29 %), 4 of 369 not in need
	// flag 1: alone in 21 of 54 in need (27 to 52 %), 12 of 369 not in need
	// flag 2: alone in 1 of 54 in need (0 to 10 %), 40 of 369 not in need
	// given the order asked: a question that comes after an emergency sign had ended the call was often not put
}

// A flag that was only ever raised in animals that needed care has no ordinary
// odds ratio; Firth's form has one, with limits.
func ExampleFitFirth() {
	terms := []string{"cannot stand", "age over 10 years"}
	patterns := []metrics.Pattern{
		{X: []float64{0, 0}, Successes: 8, Trials: 120},
		{X: []float64{0, 1}, Successes: 9, Trials: 60},
		{X: []float64{1, 0}, Successes: 5, Trials: 5},
		{X: []float64{1, 1}, Successes: 7, Trials: 7},
	}
	plain, err := metrics.FitLogistic(terms, patterns)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(plain.NotEstimable)
	firth, err := metrics.FitFirth(terms, patterns)
	if err != nil {
		fmt.Println(err)
		return
	}
	table, err := firth.ProfileLimits(0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range table[1:] {
		fmt.Printf("%s: odds ratio at least %.1f\n", c.Term, c.OddsRatio.Low)
	}
	// Output:
	// cannot stand separates the calls with the outcome from those without, so the estimate runs to infinity; Firth's penalised form has an answer
	// cannot stand: odds ratio at least 25.7
	// age over 10 years: odds ratio at least 0.9
}

// Four lines share counts of animals in need and how many they sent in.
func ExamplePoolBinomialNormal() {
	lines := []metrics.GroupCount{{Successes: 88, Trials: 96}, {Successes: 41, Trials: 41}, {Successes: 120, Trials: 139}, {Successes: 33, Trials: 40}}
	b, err := metrics.PoolBinomialNormal(lines, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("middle line %.2f (%.2f to %.2f)\n", b.Proportion.Value, b.Proportion.Low, b.Proportion.High)
	fmt.Printf("a fifth line %.2f to %.2f\n", b.Prediction.Low, b.Prediction.High)
	// Output:
	// middle line 0.91 (0.82 to 0.96)
	// a fifth line 0.34 to 0.99
}
