package metrics

import (
	"math"
	"math/rand/v2"
	"testing"
)

// coverageTally counts how often limits hold the truth.
type coverageTally struct{ hits, n int }

func (c *coverageTally) note(e Estimate, truth float64) {
	if !e.Estimable() {
		return
	}
	c.n++
	if (e.LowUnbounded || e.Low <= truth) && (e.HighUnbounded || truth <= e.High) {
		c.hits++
	}
}

// check asks that the coverage lies in least..most and that nearly all trials gave limits.
func (c coverageTally) check(t *testing.T, name string, trials int, least, most float64) {
	t.Helper()
	got := float64(c.hits) / float64(c.n)
	t.Logf("%s: coverage %.4f of %d", name, got, c.n)
	if c.n < trials*9/10 || got < least || got > most {
		t.Errorf("%s: coverage %.4f of %d trials (%d made), want %v to %v", name, got, c.n, trials, least, most)
	}
}

// coverageTrials is full where time allows.
func coverageTrials(full int) int {
	if testing.Short() {
		return full / 4
	}
	return full
}

// coverageRange is 93 to 97 %, widened to three standard errors in a short run.
func coverageRange(trials int) (least, most float64) {
	if testing.Short() {
		s := 3 * math.Sqrt(0.05*0.95/float64(trials))
		return 0.95 - math.Max(0.02, s), 0.95 + math.Max(0.02, s)
	}
	return 0.93, 0.97
}

// gradedFinding is a finding with eight values: the chance of each by need.
type gradedFinding struct{ needed, notNeeded [8]float64 }

func newGradedFinding(shift float64) gradedFinding {
	var g gradedFinding
	sp, sn := 0.0, 0.0
	for i := range 8 {
		x := float64(i) - 3.5
		g.needed[i] = math.Exp(-(x - shift) * (x - shift) / 6)
		g.notNeeded[i] = math.Exp(-(x + shift) * (x + shift) / 6)
		sp, sn = sp+g.needed[i], sn+g.notNeeded[i]
	}
	for i := range 8 {
		g.needed[i] /= sp
		g.notNeeded[i] /= sn
	}
	return g
}

func (g gradedFinding) area() float64 {
	a := 0.0
	for i := range 8 {
		for j := range 8 {
			switch {
			case i > j:
				a += g.needed[i] * g.notNeeded[j]
			case i == j:
				a += g.needed[i] * g.notNeeded[j] / 2
			}
		}
	}
	return a
}

// sample draws m animals in need and n others.
func (g gradedFinding) sample(m, n float64, r *rand.Rand) []ValueCount {
	pos, neg := make([]float64, 8), make([]float64, 8)
	drawMultinomial(pos, g.needed[:], 1, m, r)
	drawMultinomial(neg, g.notNeeded[:], 1, n, r)
	out := make([]ValueCount, 8)
	for i := range out {
		out[i] = ValueCount{Value: float64(i), Needed: int64(pos[i]), NotNeeded: int64(neg[i])}
	}
	return out
}

func TestAreaCoverage(t *testing.T) {
	trials := coverageTrials(4000)
	least, most := coverageRange(trials)
	r := rand.New(rand.NewPCG(80, 81))
	g, h := newGradedFinding(1.2), newGradedFinding(0.7)
	truth := g.area()
	var delong, logit, newcombe, unpaired coverageTally
	for range trials {
		counts := g.sample(60, 140, r)
		delong.note(mustArea(t)(AUCDeLong(counts, HighIsBad, 0.95)).Estimate, truth)
		logit.note(mustArea(t)(AUCDeLongLogit(counts, HighIsBad, 0.95)).Estimate, truth)
		newcombe.note(mustArea(t)(AUCNewcombe(counts, HighIsBad, 0.95)).Estimate, truth)
		c, err := CompareAreasUnpaired(counts, HighIsBad, h.sample(50, 90, r), HighIsBad, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		unpaired.note(c.Difference, truth-h.area())
	}
	t.Logf("true areas %.3f and %.3f", truth, h.area())
	delong.check(t, "DeLong", trials, least, most)
	logit.check(t, "DeLong, logit", trials, least, most)
	// The exponential model behind it overstates the variance of a coarse graded finding.
	newcombe.check(t, "Newcombe", trials, least, 1)
	unpaired.check(t, "unpaired difference", trials, least, most)
}

// Few animals and an area near 1, where the plain limits fail: Newcombe's must hold.
func TestAreaCoverageNearOne(t *testing.T) {
	trials := coverageTrials(4000)
	r := rand.New(rand.NewPCG(82, 83))
	g := newGradedFinding(2.6)
	var newcombe, logit coverageTally
	for range trials {
		counts := g.sample(12, 25, r)
		newcombe.note(mustArea(t)(AUCNewcombe(counts, HighIsBad, 0.95)).Estimate, g.area())
		logit.note(mustArea(t)(AUCDeLongLogit(counts, HighIsBad, 0.95)).Estimate, g.area())
	}
	t.Logf("true area %.3f", g.area())
	newcombe.check(t, "Newcombe", trials, 0.93, 1)
	logit.check(t, "DeLong, logit", trials, 0.92, 0.99)
}

func TestPairedAreaCoverage(t *testing.T) {
	trials := coverageTrials(2000)
	least, most := coverageRange(trials)
	r := rand.New(rand.NewPCG(84, 85))
	// Two readings of one animal share half of their noise; the truth is counted out on a
	// very large sample, since the binning has no closed form.
	sample := func(m, n int) []JointCount {
		var out []JointCount
		for i := range m + n {
			shift, needed := 0.0, i < m
			if needed {
				shift = 1
			}
			common := r.NormFloat64()
			j := JointCount{First: math.Round(2 * (1.3*shift + common + r.NormFloat64())), Second: math.Round(2 * (0.8*shift + common + r.NormFloat64()))}
			if needed {
				j.Needed = 1
			} else {
				j.NotNeeded = 1
			}
			out = append(out, j)
		}
		return out
	}
	big, err := CompareAreasPaired(sample(60000, 60000), HighIsBad, HighIsBad, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	var paired coverageTally
	for range trials {
		c, err := CompareAreasPaired(sample(60, 100), HighIsBad, HighIsBad, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		paired.note(c.Difference, big.Difference.Value)
	}
	paired.check(t, "paired difference", trials, least, most)
}

func TestBootstrapCoverage(t *testing.T) {
	trials := coverageTrials(500)
	least, most := coverageRange(trials)
	r := rand.New(rand.NewPCG(86, 87))
	g := newGradedFinding(1)
	exact := valueTable{value: []float64{0, 1, 2, 3, 4, 5, 6, 7}, pos: g.needed[:], neg: g.notNeeded[:]}
	exact.total()
	raw, _ := exact.partialArea(HighIsBad, OverSpecificity, 0.8, 1)
	var area, part coverageTally
	for range trials {
		counts := g.sample(120, 240, r)
		b, err := BootstrapThreshold(counts, HighIsBad, ByYouden(), 300, 0, 0.95, r)
		if err != nil {
			t.Fatal(err)
		}
		area.note(b.Area, g.area())
		p, err := PartialAUC(counts, HighIsBad, OverSpecificity, 0.8, 1, 300, 0.95, r)
		if err != nil {
			t.Fatal(err)
		}
		part.note(p.Raw, raw)
	}
	area.check(t, "bootstrap area", trials, least, most)
	part.check(t, "partial area", trials, least, most)
}

// The world of a corrected curve: two levels of advice, follow-up by advice, and animals told
// to stay at home that come in by themselves mostly when they got worse.
func TestCorrectedROCCoverage(t *testing.T) {
	trials := coverageTrials(1000)
	least, most := coverageRange(trials)
	r := rand.New(rand.NewPCG(88, 89))
	g := newGradedFinding(0.9)
	const prevalence, episodes = 0.08, 6000
	sentIn := func(v int, needed bool) float64 { // worse values are sent in more often
		p := 0.1 + 0.1*float64(v)
		if needed {
			p += 0.1
		}
		return math.Min(1, p)
	}
	trueSens := g.needed[4] + g.needed[5] + g.needed[6] + g.needed[7]
	trueSpec := g.notNeeded[0] + g.notNeeded[1] + g.notNeeded[2] + g.notNeeded[3]
	var area, sens, spec, naive coverageTally
	cell := make([]float64, 32)
	weight := make([]float64, 32)
	for v := range 8 {
		for i, p := range []float64{prevalence * g.needed[v], (1 - prevalence) * g.notNeeded[v]} {
			in := sentIn(v, i == 0)
			weight[4*v+2*i], weight[4*v+2*i+1] = p*in, p*(1-in)
		}
	}
	for range trials {
		drawMultinomial(cell, weight, 1, episodes, r)
		var cells []ValueVerification
		for v := range 8 {
			in, home := VerificationCell{}, VerificationCell{}
			for i := range 2 {
				seen := binomialDraw(r, cell[4*v+2*i], 0.7) // of those sent in, 70 % have a vet's finding
				found := binomialDraw(r, cell[4*v+2*i+1], []float64{0.4, 0.03}[i])
				rest := cell[4*v+2*i+1] - found
				followed := binomialDraw(r, rest, 0.1)
				in.Unverified += int64(cell[4*v+2*i] - seen)
				home.Unverified += int64(rest - followed)
				if i == 0 {
					in.SampledNeeded, home.FoundNeeded, home.SampledNeeded = int64(seen), int64(found), int64(followed)
				} else {
					in.SampledNotNeeded, home.FoundNotNeeded, home.SampledNotNeeded = int64(seen), int64(found), int64(followed)
				}
			}
			cells = append(cells, ValueVerification{Value: float64(v), Stratum: "in", VerificationCell: in},
				ValueVerification{Value: float64(v), Stratum: "home", VerificationCell: home})
		}
		c, err := CorrectedROC(cells, HighIsBad, WithinStratum, CorrectionOptions{Conf: 0.95, Draws: 300, Rand: r})
		if err != nil {
			t.Fatal(err)
		}
		area.note(c.Area, g.area())
		naive.note(c.NaiveArea.Estimate, g.area())
		for _, p := range c.Points {
			if p.Threshold.Upper == 4 {
				sens.note(p.Sensitivity, trueSens)
				spec.note(p.Specificity, trueSpec)
			}
		}
	}
	area.check(t, "corrected area", trials, least, most)
	sens.check(t, "corrected sensitivity", trials, least, most)
	spec.check(t, "corrected specificity", trials, least, most)
	if got := float64(naive.hits) / float64(naive.n); got > 0.9 {
		t.Errorf("the naive area covers %.3f: this world does not need a correction and proves nothing", got)
	} else {
		t.Logf("naive area: coverage %.3f", got)
	}
}
