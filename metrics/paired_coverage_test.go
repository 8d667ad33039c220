package metrics

import (
	"math/rand/v2"
	"testing"
)

// drawPairs draws n pairs with the chances of both, first only, second only, neither.
func drawPairs(p [4]float64, n float64, r *rand.Rand) PairedCounts {
	x := make([]float64, 4)
	drawMultinomial(x, p[:], 1, n, r)
	return PairedCounts{Both: int64(x[0]), FirstOnly: int64(x[1]), SecondOnly: int64(x[2]), Neither: int64(x[3])}
}

func TestPairedCoverage(t *testing.T) {
	trials := coverageTrials(5000)
	least, most := coverageRange(trials)
	r := rand.New(rand.NewPCG(90, 91))
	needed, others := [4]float64{0.62, 0.16, 0.08, 0.14}, [4]float64{0.15, 0.14, 0.07, 0.64}
	n1, n0 := 90.0, 210.0
	share := n1 / (n1 + n0)
	ppv := func(i int) float64 { // the predictive value of the first (1) or second (2) rule set
		with, without := share*(needed[0]+needed[i]), (1-share)*(others[0]+others[i])
		return with / (with + without)
	}
	gain := share * (needed[1] - needed[2])
	extra := (1 - share) * (others[1] - others[2])
	const w = 0.25 // threshold probability 0.2
	worth := share*(needed[0]+needed[1]) - w*(1-share)*(others[0]+others[1])
	var newcombe, tango, ratio, bonett, lr, difference, relative, benefit, better, even, nri coverageTally
	note := func(c *coverageTally, truth float64) func(Estimate, error) {
		return func(e Estimate, err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
			c.note(e, truth)
		}
	}
	for range trials {
		m := binomialDraw(r, n1+n0, share)
		pair := RulePair{Needed: drawPairs(needed, m, r), NotNeeded: drawPairs(others, n1+n0-m, r)}
		note(&newcombe, 0.08)(PairedDifferenceNewcombe(pair.Needed, 0.95))
		note(&tango, 0.08)(PairedDifferenceTango(pair.Needed, 0.95))
		note(&ratio, 0.78/0.70)(PairedRatio(pair.Needed, 0.95))
		note(&bonett, 0.78/0.70)(PairedRatioBonettPrice(pair.Needed, 0.95))
		c, err := CompareRules(pair, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		lr.note(c.RelativeLRPositive, 0.78/0.70/(0.29/0.22))
		v, err := ComparePPV(pair, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		difference.note(v.Difference, ppv(1)-ppv(2))
		relative.note(v.Ratio, ppv(1)/ppv(2))
		note(&benefit, worth)(NetBenefit(pair.First(), 0.2, 0.95))
		note(&better, gain-w*extra)(NetBenefitDifference(pair, 0.2, 0.95))
		note(&even, gain/(gain+extra))(BreakEven(pair, 0.95))
		moved, err := NetReclassification(
			Reclassified{N: pair.Needed.N(), Up: pair.Needed.FirstOnly, Down: pair.Needed.SecondOnly},
			Reclassified{N: pair.NotNeeded.N(), Up: pair.NotNeeded.FirstOnly, Down: pair.NotNeeded.SecondOnly}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		nri.note(moved.Sum, 0.08-0.07)
	}
	newcombe.check(t, "Newcombe", trials, least, most)
	tango.check(t, "Tango", trials, least, most)
	ratio.check(t, "ratio, log", trials, least, most)
	bonett.check(t, "ratio, Bonett-Price", trials, least, most)
	lr.check(t, "relative likelihood ratio", trials, least, most)
	difference.check(t, "predictive value, difference", trials, least, most)
	relative.check(t, "predictive value, ratio", trials, least, most)
	benefit.check(t, "net benefit", trials, least, most)
	better.check(t, "net benefit, difference", trials, least, most)
	nri.check(t, "net reclassification", trials, least, most)
	// No break-even exists where chance makes one rule set better at everything.
	even.check(t, "break-even", trials*3/4, least, 1)
}

// Of McNemar's family under equality, none may reject much more often than it says, and the
// exact test less often than the mid-p test.
func TestMcNemarLevels(t *testing.T) {
	trials := coverageTrials(8000)
	r := rand.New(rand.NewPCG(92, 93))
	rejected := map[Method]int{}
	for range trials {
		p := drawPairs([4]float64{0.5, 0.1, 0.1, 0.3}, 80, r)
		for _, f := range []func(PairedCounts) (TestResult, error){McNemar, McNemarCorrected, McNemarExact, McNemarMidP} {
			x, err := f(p)
			if err != nil {
				t.Fatal(err)
			}
			if x.Estimable() && x.P < 0.05 {
				rejected[x.Method]++
			}
		}
	}
	for m, n := range rejected {
		level := float64(n) / float64(trials)
		t.Logf("%s: level %.4f", m, level)
		if level > 0.06 {
			t.Errorf("%s rejects in %.4f of trials under equality", m, level)
		}
	}
	if rejected[MethodMcNemarExact] >= rejected[MethodMcNemarMidP] {
		t.Errorf("exact rejects %d times, mid-p %d", rejected[MethodMcNemarExact], rejected[MethodMcNemarMidP])
	}
}

// Pairs under partial verification with a known truth: what either rule set marks is sent in
// and mostly verified, the rest is followed up in one of eight.
func TestCompareRulesPartialCoverage(t *testing.T) {
	trials := coverageTrials(1000)
	least, most := coverageRange(trials)
	r := rand.New(rand.NewPCG(94, 95))
	// Two strata: the chances of both, first only, second only, neither by need, and the
	// share in need.
	strata := []struct {
		n, need        float64
		needed, others [4]float64
	}{
		{1500, 0.20, [4]float64{0.6, 0.14, 0.06, 0.2}, [4]float64{0.2, 0.1, 0.08, 0.62}},
		{3500, 0.06, [4]float64{0.5, 0.1, 0.1, 0.3}, [4]float64{0.08, 0.07, 0.05, 0.8}},
	}
	var need, first, second, others, spec1, spec2 float64
	for _, s := range strata {
		need += s.n * s.need
		first += s.n * s.need * (s.needed[0] + s.needed[1])
		second += s.n * s.need * (s.needed[0] + s.needed[2])
		others += s.n * (1 - s.need)
		spec1 += s.n * (1 - s.need) * (s.others[2] + s.others[3])
		spec2 += s.n * (1 - s.need) * (s.others[1] + s.others[3])
	}
	var sens, diff, spec, ratio, gained, naive coverageTally
	for range trials {
		var in []PairVerificationStratum
		actuallyGained := 0.0
		for i, s := range strata {
			m := binomialDraw(r, s.n, s.need)
			x, y := make([]float64, 4), make([]float64, 4)
			drawMultinomial(x, s.needed[:], 1, m, r)
			drawMultinomial(y, s.others[:], 1, s.n-m, r)
			actuallyGained += x[1]
			var cells [4]VerificationCell
			for j := range cells {
				seen, found := 0.7, [2]float64{}
				if j == 3 {
					seen, found = 0.125, [2]float64{0.3, 0.02}
				}
				fx, fy := binomialDraw(r, x[j], found[0]), binomialDraw(r, y[j], found[1])
				kx, ky := binomialDraw(r, x[j]-fx, seen), binomialDraw(r, y[j]-fy, seen)
				cells[j] = VerificationCell{FoundNeeded: int64(fx), FoundNotNeeded: int64(fy), SampledNeeded: int64(kx),
					SampledNotNeeded: int64(ky), Unverified: int64(x[j] + y[j] - fx - fy - kx - ky)}
			}
			in = append(in, PairVerificationStratum{Name: string(rune('a' + i)), Both: cells[0], FirstOnly: cells[1], SecondOnly: cells[2], Neither: cells[3]})
		}
		c, err := CompareRulesPartial(in, CorrectionOptions{Conf: 0.95, Draws: 400, Rand: r})
		if err != nil {
			t.Fatal(err)
		}
		sens.note(c.FirstSensitivity, first/need)
		diff.note(c.SensitivityDifference, (first-second)/need)
		spec.note(c.SpecificityDifference, (spec1-spec2)/others)
		ratio.note(c.RelativeSensitivity, first/second)
		gained.note(c.Gained, actuallyGained)
		naive.note(c.Naive.FirstSensitivity, first/need)
	}
	sens.check(t, "sensitivity", trials, least, most)
	diff.check(t, "difference of sensitivities", trials, least, most)
	spec.check(t, "difference of specificities", trials, least, most)
	ratio.check(t, "relative sensitivity", trials, least, most)
	gained.check(t, "animals gained", trials, least, 1)
	if got := float64(naive.hits) / float64(naive.n); got > 0.8 {
		t.Errorf("the naive sensitivity covers %.3f: this world proves nothing", got)
	}
}
