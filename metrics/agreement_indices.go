package metrics

import "math"

// Methods of the indices beside kappa.
const (
	MethodPABAK             Method = "prevalence- and bias-adjusted kappa, Wilson limits of the agreement"
	MethodSpecificAgreement Method = "specific agreement, Wilson limits"
)

// AgreementIndices stands beside the kappa of a sign that is present or
// absent. A rare sign can have 94 % agreement and a kappa below 0; these
// figures tell whether the readers or the rarity are to blame.
type AgreementIndices struct {
	// Agreement is the share of animals read alike, with Wilson limits.
	Agreement Estimate
	// PrevalenceIndex is (a - d) / n in -1..1, how unequal the two kinds of
	// agreement are; BiasIndex (b - c) / n, how much more often reader 1 sees
	// the sign. Both are 0 where Agreement is not estimable.
	PrevalenceIndex, BiasIndex float64
	// PABAK is 2 po - 1: kappa as it would be with the sign in half of the
	// animals and no bias.
	PABAK Estimate
	// Positive is 2a / (2a + b + c): if one reader sees the sign, how likely
	// does the other. Negative is the same for its absence.
	Positive, Negative Estimate
	// KappaMax is the largest kappa that these margins allow, or 0 with
	// KappaMaxMissing saying why there is none.
	KappaMax        float64
	KappaMaxMissing string
	// Kappa is Cohen's.
	Kappa Kappa
	// Warnings say where kappa would mislead.
	Warnings []string
}

// IndicesOfAgreement computes agreement, its two specific parts, the indices
// of prevalence and bias, and the adjusted kappa of two readers.
//
// table[0][0] counts animals in which both see the sign, [0][1] those in which
// only reader 1 does, [1][0] only reader 2, [1][1] neither. Limits of specific
// agreement carry over from Wilson's for a / (a + b + c), of which it is an
// increasing function. Without animals nothing is estimable; without a sign
// seen by anyone, Positive is not. It returns ErrArgument for a negative count
// or a conf outside (0, 1).
//
// Source: Byrt, Bishop & Carlin (1993) J Clin Epidemiol 46:423-429; Feinstein &
// Cicchetti, and Cicchetti & Feinstein (1990) J Clin Epidemiol 43:543-549 and
// 551-558.
func IndicesOfAgreement(table [2][2]int64, conf float64) (AgreementIndices, error) {
	square := [][]int64{table[0][:], table[1][:]}
	kappa, err := CohenKappa(square, conf)
	if err != nil {
		return AgreementIndices{}, err
	}
	a, b, c, d := table[0][0], table[0][1], table[1][0], table[1][1]
	n := a + b + c + d
	x := AgreementIndices{Kappa: kappa}
	if x.Agreement, err = Wilson(a+d, n, conf); err != nil {
		return AgreementIndices{}, err
	}
	if x.Positive, err = specificAgreement(a, b+c, conf, "neither reader saw the sign"); err != nil {
		return AgreementIndices{}, err
	}
	if x.Negative, err = specificAgreement(d, b+c, conf, "both readers saw the sign in every animal"); err != nil {
		return AgreementIndices{}, err
	}
	if n == 0 {
		x.PABAK = notEstimable(conf, MethodPABAK, "no animal was read by both")
		x.KappaMaxMissing = x.PABAK.NotEstimable
		return x, nil
	}
	x.PrevalenceIndex = float64(a-d) / float64(n)
	x.BiasIndex = float64(b-c) / float64(n)
	x.PABAK = Estimate{
		Value: 2*x.Agreement.Value - 1, Low: 2*x.Agreement.Low - 1, High: 2*x.Agreement.High - 1,
		Conf: conf, Method: MethodPABAK, Denominator: float64(n),
	}
	if kappa.Estimable() {
		row, col := float64(a+b)/float64(n), float64(a+c)/float64(n)
		top := math.Min(row, col) + math.Min(1-row, 1-col)
		x.KappaMax = (top - kappa.Expected) / (1 - kappa.Expected)
	} else {
		x.KappaMaxMissing = kappa.NotEstimable
	}
	x.Warnings = x.cautions()
	return x, nil
}

// cautions are the sentences that keep a low kappa from being misread. They
// appear where the limits of kappa and of the adjusted kappa do not touch.
func (x AgreementIndices) cautions() []string {
	if !x.Kappa.Estimable() || x.Kappa.High >= x.PABAK.Low {
		return nil
	}
	what := "rare"
	if x.PrevalenceIndex > 0 {
		what = "common"
	}
	out := []string{"the sign is so " + what + " that kappa is low although the readers mostly agree; read the specific agreement"}
	if x.Kappa.Value < 0 {
		out = append(out, "a kappa below 0 here does not mean that the readers contradict each other")
	}
	return out
}

// specificAgreement is 2a / (2a + off), through a / (a + off).
func specificAgreement(a, off int64, conf float64, reason string) (Estimate, error) {
	e, err := Wilson(a, a+off, conf)
	if err != nil {
		return Estimate{}, err
	}
	e.Method = MethodSpecificAgreement
	if !e.Estimable() {
		return notEstimable(conf, MethodSpecificAgreement, "%s", reason), nil
	}
	double := func(p float64) float64 { return 2 * p / (1 + p) }
	e.Value, e.Low, e.High = double(e.Value), double(e.Low), double(e.High)
	e.Numerator, e.Denominator = float64(2*a), float64(2*a+off)
	return e, nil
}
