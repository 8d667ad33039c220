package metrics

import "math"

// Methods for net reclassification.
const (
	// MethodNRIMultinomial is the ordinary large-sample interval of the sum.
	MethodNRIMultinomial Method = "net reclassification, multinomial variance"
	// MethodNRIPencina is the test of the original paper.
	MethodNRIPencina Method = "net reclassification, variance under no reclassification"
)

// Reclassified counts the episodes of one outcome that a new rule set moves.
type Reclassified struct {
	// N is the number of episodes, Up of which the new rule set puts at a more urgent
	// level and Down at a less urgent one.
	N, Up, Down int64
}

// Reclassification is how a new rule set moves animals, by what they needed.
type Reclassification struct {
	// Needed is (up - down)/n among animals in need: above 0 the new rule set serves
	// them better. NotNeeded is (down - up)/n among the others: above 0 it spares
	// referrals. Both have Tango's limits and are the figures to read.
	Needed, NotNeeded Estimate
	// Sum adds them, as published; it weighs one animal of each kind by the inverse of
	// their numbers, which nobody has decided on. Read the two parts.
	Sum Estimate
	// SumTest has the variance of the original paper, known to reject too often.
	SumTest TestResult
}

// NetReclassification estimates the net share of animals that a new rule set moves the
// right way, for animals in need and for the others.
//
// An empty side makes its part and the sum not estimable. It returns ErrArgument for a
// negative count, for more episodes moved than there are, or a bad conf.
//
// Source: Pencina, D'Agostino, D'Agostino & Vasan (2008) Stat Med 27:157-172; on its
// limits Kerr et al. (2014) Epidemiology 25:114-121.
func NetReclassification(needed, notNeeded Reclassified, conf float64) (Reclassification, error) {
	var r Reclassification
	if err := checkConf(conf); err != nil {
		return r, err
	}
	for i, c := range []Reclassified{needed, notNeeded} {
		if c.Up < 0 || c.Down < 0 || c.N < c.Up+c.Down {
			return r, argErr("%s: %d up and %d down of %d, expected no negative count and no more moved than there are",
				[2]string{"needed", "not needed"}[i], c.Up, c.Down, c.N)
		}
	}
	r.Needed, _ = PairedDifferenceTango(PairedCounts{FirstOnly: needed.Up, SecondOnly: needed.Down,
		Neither: needed.N - needed.Up - needed.Down}, conf)
	r.NotNeeded, _ = PairedDifferenceTango(PairedCounts{FirstOnly: notNeeded.Down, SecondOnly: notNeeded.Up,
		Neither: notNeeded.N - notNeeded.Up - notNeeded.Down}, conf)
	r.SumTest.Method = MethodNRIPencina
	if !r.Needed.Estimable() || !r.NotNeeded.Estimable() {
		r.Sum = notEstimable(conf, MethodNRIMultinomial, "animals in need and others are both required")
		r.SumTest.NotEstimable = r.Sum.NotEstimable
		return r, nil
	}
	sum := r.Needed.Value + r.NotNeeded.Value
	null, full := 0.0, 0.0
	for _, c := range []Reclassified{needed, notNeeded} {
		n, moved, net := float64(c.N), float64(c.Up+c.Down), float64(c.Up-c.Down)
		null += moved / (n * n)
		full += moved/(n*n) - net*net/(n*n*n)
	}
	if !(full > 0) {
		r.Sum = notEstimable(conf, MethodNRIMultinomial, "no variance: every animal of a kind moved the same way, or none did")
		r.SumTest.NotEstimable = r.Sum.NotEstimable
		return r, nil
	}
	h := twoSidedZ(conf) * math.Sqrt(full)
	r.Sum = Estimate{Value: sum, Low: math.Max(-2, sum-h), High: math.Min(2, sum+h), Conf: conf, Method: MethodNRIMultinomial}
	r.SumTest.Statistic = sum / math.Sqrt(null)
	r.SumTest.P = normalTwoSidedP(r.SumTest.Statistic)
	r.SumTest.Warnings = append(r.SumTest.Warnings, "the variance assumes that nothing is reclassified and rejects too often")
	return r, nil
}
