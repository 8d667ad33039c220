package metrics

import "math"

// Methods of the limits of agreement among many readers.
const (
	MethodFleiss Method = "Fleiss' kappa, linear standard error over animals, Student t"
	MethodGwet   Method = "Gwet's coefficient, linear standard error over animals, Student t"
)

// FleissAgreement is the kappa of many readers.
type FleissAgreement struct {
	Kappa
	// ByCategory is the kappa of each category against all others together.
	ByCategory []Estimate
}

// FleissKappa estimates the agreement of any number of readers beyond chance,
// who need not be the same ones for every animal: (pa - pe) / (1 - pe) with pa
// the share of agreeing pairs of readers, and pe the sum of squares of the
// categories' shares.
//
// Every pattern has the same categories. Animals read once count in the shares
// and not in pa. Limits rest on the variation between animals (t with animals
// - 1 degrees of freedom); SENull and Z, for the test only, need the same
// number of readers throughout, and are the corrected ones of 1979: the
// standard error printed in 1971 is wrong. No animal read twice, a single
// animal, or all readings in one category is not estimable. It returns
// ErrArgument for patterns of different width, fewer than two categories, a
// negative count or a conf outside (0, 1). Two readers: this is Scott's pi, not
// Cohen's kappa.
//
// Source: Fleiss (1971) Psychol Bull 76:378-382; Fleiss, Nee & Landis (1979)
// Psychol Bull 86:974-977; limits: Gwet (2008) Br J Math Stat Psychol 61:29-48.
func FleissKappa(patterns []ReadingPattern, conf float64) (FleissAgreement, error) {
	q, err := checkPatterns(patterns)
	if err != nil {
		return FleissAgreement{}, err
	}
	if err := checkConf(conf); err != nil {
		return FleissAgreement{}, err
	}
	f := FleissAgreement{Kappa: fleissKappa(patterns, q, conf)}
	for k := range q {
		f.ByCategory = append(f.ByCategory, fleissKappa(oneAgainstRest(patterns, k), 2, conf).Estimate)
	}
	f.fleissTest(patterns)
	return f, nil
}

func fleissKappa(patterns []ReadingPattern, q int, conf float64) Kappa {
	missing := func(reason string) Kappa {
		return Kappa{Estimate: notEstimable(conf, MethodFleiss, "%s", reason), TestNotEstimable: reason}
	}
	m := newMultiReader(patterns, IdentityWeights(q))
	if reason := m.missing(); reason != "" {
		return missing(reason)
	}
	pe := 0.0
	for _, s := range m.share {
		pe += s * s
	}
	if pe >= 1-1e-15 {
		return missing("all readings are in one category")
	}
	k := Kappa{Observed: m.pa, Expected: pe}
	k.Estimate, k.SE = m.chanceCorrected(pe, func(share []float64) float64 {
		own := 0.0
		for i, s := range share {
			own += s * m.share[i]
		}
		return own
	}, conf, MethodFleiss)
	return k
}

// oneAgainstRest folds all categories but k into one.
func oneAgainstRest(patterns []ReadingPattern, k int) []ReadingPattern {
	folded := make([]ReadingPattern, len(patterns))
	for i, p := range patterns {
		rest := int64(0)
		for l, r := range p.Readings {
			if l != k {
				rest += r
			}
		}
		folded[i] = ReadingPattern{Readings: []int64{p.Readings[k], rest}, Animals: p.Animals}
	}
	return folded
}

// fleissTest fills the test of no agreement beyond chance.
func (f *FleissAgreement) fleissTest(patterns []ReadingPattern) {
	if f.TestNotEstimable != "" {
		return
	}
	var readers, animals float64
	var counts []float64
	for _, p := range patterns {
		own := 0.0
		if counts == nil {
			counts = make([]float64, len(p.Readings))
		}
		for k, r := range p.Readings {
			own += float64(r)
			counts[k] += float64(r) * float64(p.Animals)
		}
		switch {
		case p.Animals == 0:
			continue
		case readers == 0:
			readers = own
		case readers != own:
			f.TestNotEstimable = "the number of readers differs between animals; read the limits instead"
			return
		}
		animals += float64(p.Animals)
	}
	var pq, skew float64
	for _, c := range counts {
		p := c / (animals * readers)
		pq += p * (1 - p)
		skew += p * (1 - p) * (1 - 2*p)
	}
	f.SENull = math.Sqrt(2/(animals*readers*(readers-1))*(pq*pq-skew)) / pq
	f.Z = f.Value / f.SENull
	f.P = math.Erfc(math.Abs(f.Z) / math.Sqrt2)
}

// GwetAgreement is Gwet's chance-corrected agreement.
type GwetAgreement struct {
	Estimate
	// Observed is the (weighted) agreement of pairs of readers, Expected the
	// agreement by chance, SE the standard error of the estimate.
	Observed, Expected, SE float64
}

// GwetAC estimates the agreement of two or more readers beyond chance with a
// chance term that does not explode when a sign is rare: pe = T / (q (q-1)) *
// sum of share (1 - share), T the sum of the weights and q the number of
// categories. With IdentityWeights it is AC1, with any others AC2.
//
// Patterns as for FleissKappa; q is their width, whether or not every category
// was used. Animals read once count in the chance term only. Limits rest on
// the variation between animals; with none at all they come from the exact
// limits of the share of animals read alike. No animal read twice, or a single
// animal, is not estimable. Bad patterns, weights or conf are ErrArgument.
//
// Source: Gwet (2008) Br J Math Stat Psychol 61:29-48; weights and missing
// readings: Gwet (2014) Handbook of Inter-Rater Reliability, 4th ed.
func GwetAC(patterns []ReadingPattern, weights [][]float64, conf float64) (GwetAgreement, error) {
	q, err := checkPatterns(patterns)
	if err != nil {
		return GwetAgreement{}, err
	}
	if err := checkConf(conf); err != nil {
		return GwetAgreement{}, err
	}
	if q == 0 {
		q = len(weights)
	}
	if err := checkAgreementWeights(weights, q); err != nil {
		return GwetAgreement{}, err
	}
	m := newMultiReader(patterns, weights)
	if reason := m.missing(); reason != "" {
		return GwetAgreement{Estimate: notEstimable(conf, MethodGwet, "%s", reason)}, nil
	}
	total := 0.0
	for _, row := range weights {
		for _, w := range row {
			total += w
		}
	}
	scale := total / float64(q*(q-1))
	pe := 0.0
	for _, s := range m.share {
		pe += scale * s * (1 - s)
	}
	if pe >= 1-1e-15 {
		return GwetAgreement{Estimate: notEstimable(conf, MethodGwet, "the weights give full credit to every pair")}, nil
	}
	g := GwetAgreement{Observed: m.pa, Expected: pe}
	g.Estimate, g.SE = m.chanceCorrected(pe, func(share []float64) float64 {
		own := 0.0
		for i, s := range share {
			own += scale * s * (1 - m.share[i])
		}
		return own
	}, conf, MethodGwet)
	return g, nil
}
