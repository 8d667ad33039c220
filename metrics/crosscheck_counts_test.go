package metrics

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// Tables for R: proportions, two-by-two tables, pairs, values, square tables,
// readings.

// mustBe unwraps an estimate that has to exist.
func mustBe(t *testing.T) func(Estimate, error) Estimate {
	return func(e Estimate, err error) Estimate {
		t.Helper()
		if err != nil || !e.Estimable() {
			t.Fatalf("%+v, %v", e, err)
		}
		return e
	}
}

func rProportions(t *testing.T, r *rand.Rand) []rTask {
	must := mustBe(t)
	var tasks []rTask
	for i := range 12 {
		n := 1 + r.Int64N(60)
		x := r.Int64N(n + 1)
		switch i {
		case 0:
			x = 0
		case 1:
			x = n
		}
		want := map[string]float64{}
		for key, f := range map[string]func(x, n int64, conf float64) (Estimate, error){
			"wilson": Wilson, "exact": ClopperPearson, "jeffreys": Jeffreys, "midp": MidP, "ac": AgrestiCoull,
		} {
			e := must(f(x, n, 0.95))
			want[key+".low"], want[key+".high"] = e.Low, e.High
		}
		tasks = append(tasks, rTask{"proportion", []string{numbers(x, n)}, want, 1e-6})
	}
	for range 8 {
		n1, n2 := 10+r.Int64N(40), 10+r.Int64N(40)
		x1, x2 := 1+r.Int64N(n1-1), 1+r.Int64N(n2-1)
		mn, nc := must(MiettinenNurminenDifference(x1, n1, x2, n2, 0.95)), must(NewcombeDifference(x1, n1, x2, n2, 0.95))
		tasks = append(tasks, rTask{"difference", []string{numbers(x1, n1, x2, n2)}, map[string]float64{
			"mn.low": mn.Low, "mn.high": mn.High, "newcombe.low": nc.Low, "newcombe.high": nc.High}, 1e-5})
	}
	for range 4 {
		counts := make([]int64, 3+r.IntN(4))
		want := map[string]float64{}
		for i := range counts {
			counts[i] = r.Int64N(40)
		}
		shares, err := MultinomialShares(counts, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for i, e := range shares {
			want[fmt.Sprintf("low%d", i+1)], want[fmt.Sprintf("high%d", i+1)] = e.Low, e.High
		}
		tasks = append(tasks, rTask{"shares", []string{numbers(counts...)}, want, 1e-6})
	}
	return tasks
}

func rPlans(t *testing.T, r *rand.Rand) []rTask {
	must := func(v float64, err error) float64 {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	var tasks []rTask
	for i := range 6 {
		target, n, prob := 0.02+0.3*r.Float64(), 20+r.Int64N(200), []float64{0.001, 0.025, 0.975, 0.999}[i%4]
		tasks = append(tasks, rTask{"funnel", []string{numbers(target, float64(n), prob)}, map[string]float64{
			"exact": must(FunnelLimit(target, n, prob, FunnelExact)), "between": must(FunnelLimit(target, n, prob, FunnelInterpolated))}, 1e-8})
	}
	for _, aim := range [][2]float64{{0.95, 0.8}, {0.9, 0.75}, {0.98, 0.9}} {
		plan, err := PlanAboveFloor(aim[0], aim[1], 0.95, 0.8, MethodClopperPearson, Pace{1, 10})
		if err != nil || plan.NotReachable != "" {
			t.Fatalf("%+v, %v", plan, err)
		}
		tasks = append(tasks, rTask{"plan", []string{numbers(aim[0], aim[1], float64(plan.Animals))}, map[string]float64{"power": plan.Power}, 1e-8})
	}
	for range 4 {
		n := 50 + r.Int64N(100)
		x, sens, spec := n/4+r.Int64N(n/4), 0.7+0.3*r.Float64(), 0.75+0.25*r.Float64()
		p, err := RoganGladen(x, n, sens, spec, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		tasks = append(tasks, rTask{"prevalence", []string{numbers(float64(x), float64(n), sens, spec)}, map[string]float64{"true": p.Unclipped}, 1e-8})
	}
	return tasks
}

// fullTable draws a table without empty cells.
func fullTable(r *rand.Rand) TwoByTwo {
	return TwoByTwo{TP: 1 + r.Int64N(40), FP: 1 + r.Int64N(30), FN: 1 + r.Int64N(10), TN: 1 + r.Int64N(80)}
}

func cells(t TwoByTwo) string { return numbers(t.TP, t.FP, t.FN, t.TN) }

func rTables(t *testing.T, r *rand.Rand) []rTask {
	must := mustBe(t)
	var tasks []rTask
	for range 10 {
		tab := fullTable(r)
		or, pos, neg := must(DiagnosticOddsRatio(tab, 0.95)), must(LRPositive(tab, 0.95)), must(LRNegative(tab, 0.95))
		least, err := FisherSmallestP(tab.TP+tab.FP, tab.FN+tab.TN, tab.TP+tab.FN)
		if err != nil {
			t.Fatal(err)
		}
		tasks = append(tasks, rTask{"table", []string{cells(tab)}, map[string]float64{
			"dor": or.Value, "dor.low": or.Low, "dor.high": or.High, "lrp.low": pos.Low, "lrp.high": pos.High,
			"lrn.low": neg.Low, "lrn.high": neg.High, "fisher.least": least}, 1e-6})
	}
	for range 5 {
		var tables []TwoByTwo
		var data []string
		for range 2 + r.IntN(5) {
			tab := TwoByTwo{r.Int64N(9), r.Int64N(9), r.Int64N(9), 1 + r.Int64N(20)}
			tables, data = append(tables, tab), append(data, cells(tab))
		}
		m, err := MantelHaenszelOddsRatio(tables, 0.95)
		if err != nil || !m.Ratio.Estimable() {
			t.Fatalf("%+v, %v", m, err)
		}
		tasks = append(tasks, rTask{"strata", data, map[string]float64{
			"or": m.Ratio.Value, "or.low": m.Ratio.Low, "or.high": m.Ratio.High, "chisq": m.ChiSquare, "p": m.P}, 1e-7})
	}
	for range 4 {
		var strata []VerificationStratum
		var data []string
		for range 1 + r.IntN(3) {
			c := []int64{5 + r.Int64N(40), 5 + r.Int64N(40), r.Int64N(60), 3 + r.Int64N(9), 9 + r.Int64N(40), r.Int64N(300)}
			strata = append(strata, VerificationStratum{Name: "s",
				Present: VerificationCell{SampledNeeded: c[0], SampledNotNeeded: c[1], Unverified: c[2]},
				Absent:  VerificationCell{SampledNeeded: c[3], SampledNotNeeded: c[4], Unverified: c[5]}})
			data = append(data, numbers(c...))
		}
		b, err := BeggGreenes(strata, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		tasks = append(tasks, rTask{"verification", data, map[string]float64{
			"sens": b.Sensitivity.Logit.Value, "spec": b.Specificity.Logit.Value, "sens.se": b.Sensitivity.SE, "spec.se": b.Specificity.SE}, 1e-6})
	}
	return tasks
}

func rPairs(t *testing.T, r *rand.Rand) []rTask {
	must := mustBe(t)
	var tasks []rTask
	for i := range 10 {
		c := PairedCounts{Both: 1 + r.Int64N(30), FirstOnly: 1 + r.Int64N(15), SecondOnly: 1 + r.Int64N(15), Neither: 1 + r.Int64N(30)}
		if i == 0 {
			c.SecondOnly = c.FirstOnly
		}
		want := map[string]float64{}
		for key, f := range map[string]func(PairedCounts) (TestResult, error){
			"": McNemar, ".corrected": McNemarCorrected, ".exact": McNemarExact, ".mid": McNemarMidP,
		} {
			res, err := f(c)
			if err != nil || !res.Estimable() {
				t.Fatalf("%+v, %v", res, err)
			}
			want["p"+key] = res.P
			if key == "" || key == ".corrected" {
				want["stat"+key] = res.Statistic
			}
		}
		tango, ratio := must(PairedDifferenceTango(c, 0.95)), must(PairedRatio(c, 0.95))
		want["tango.low"], want["tango.high"], want["ratio.low"], want["ratio.high"] = tango.Low, tango.High, ratio.Low, ratio.High
		tasks = append(tasks, rTask{"pairs", []string{numbers(c.Both, c.FirstOnly, c.SecondOnly, c.Neither)}, want, 1e-5})
	}
	return tasks
}

func rValues(t *testing.T, r *rand.Rand) []rTask {
	var tasks []rTask
	for range 8 {
		var counts []ValueCount
		var value []float64
		var needed, not []int64
		for k := range 3 + r.IntN(6) {
			c := ValueCount{float64(k)*0.5 + 1, r.Int64N(9) + int64(k), 1 + r.Int64N(12)}
			counts = append(counts, c)
			value, needed, not = append(value, c.Value), append(needed, c.Needed), append(not, c.NotNeeded)
		}
		area, err := AUCDeLong(counts, HighIsBad, 0.95)
		if err != nil || !area.VarianceDefined {
			t.Fatalf("%+v, %v", area, err)
		}
		mw, err := MannWhitney(counts, HighIsBad)
		if err != nil {
			t.Fatal(err)
		}
		tasks = append(tasks, rTask{"values", []string{numbers(value...), numbers(needed...), numbers(not...)}, map[string]float64{
			"auc": area.Value, "delong.var": area.Variance, "p": mw.P}, 1e-7})
	}
	return tasks
}

func rSquares(t *testing.T, r *rand.Rand) []rTask {
	var tasks []rTask
	for range 6 {
		k := 3 + r.IntN(2)
		table := make([][]int64, k)
		var data []string
		for i := range table {
			table[i] = make([]int64, k)
			for j := range table[i] {
				table[i][j] = 1 + r.Int64N(6)
				if i == j {
					table[i][j] += r.Int64N(20)
				}
			}
			data = append(data, numbers(table[i]...))
		}
		bowker, err1 := Bowker(table)
		stuart, err2 := StuartMaxwell(table)
		assoc, err3 := OrdinalAssociation(table, 0.95)
		plain, err4 := CohenKappa(table, 0.95)
		quad, err5 := WeightedKappa(table, QuadraticWeights(k), 0.95)
		for _, err := range []error{err1, err2, err3, err4, err5} {
			if err != nil {
				t.Fatal(err)
			}
		}
		tasks = append(tasks, rTask{"square", data, map[string]float64{
			"bowker": bowker.Statistic, "bowker.p": bowker.P, "stuart": stuart.Statistic, "tau": assoc.TauB.Value,
			"gamma": assoc.Gamma.Value, "gamma.se": (assoc.Gamma.High - assoc.Gamma.Value) / twoSidedZ(0.95),
			"kappa": plain.Value, "kappa.se": plain.SE, "quadratic": quad.Value, "quadratic.se": quad.SE}, 1e-6})
	}
	for range 3 {
		o := LevelOutcomes{Levels: []string{"emergency", "same day", "soon", "home care"}}
		for i := range o.Levels {
			n := 20 + r.Int64N(60)
			o.Calls, o.Serious = append(o.Calls, n), append(o.Serious, r.Int64N(n/int64(i+1)))
		}
		res, err := SeriousTrend(o)
		if err != nil || res.NotEstimable != "" {
			t.Fatalf("%+v, %v", res, err)
		}
		tasks = append(tasks, rTask{"trend", []string{numbers(o.Calls...), numbers(o.Serious...)}, map[string]float64{"chisq": res.Statistic, "p": res.P}, 1e-7})
	}
	return tasks
}

func rReadings(t *testing.T, r *rand.Rand) []rTask {
	var tasks []rTask
	for range 4 {
		var pairs []ReadingPair
		var first, second []float64
		for range 8 + r.IntN(20) {
			base := 10 + 30*r.Float64()
			p := ReadingPair{math.Round(base + 3*r.NormFloat64()), math.Round(base + 1 + 4*r.NormFloat64()), 1}
			pairs, first, second = append(pairs, p), append(first, p.First), append(second, p.Second)
		}
		b, err := BlandAltman(pairs, 0.95, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		tasks = append(tasks, rTask{"readings", []string{numbers(first...), numbers(second...)}, map[string]float64{
			"bias.low": b.Bias.Low, "bias.high": b.Bias.High, "sd": b.SD,
			"slope": b.Slope.Value, "slope.low": b.Slope.Low, "slope.high": b.Slope.High}, 1e-7})
	}
	for range 3 {
		var ratings [][]float64
		var data []string
		k := 2 + r.IntN(3)
		for range 8 {
			base, row := 20*r.Float64(), make([]float64, k)
			for j := range row {
				row[j] = base + float64(j) + 3*r.NormFloat64()
			}
			ratings, data = append(ratings, row), append(data, numbers(row...))
		}
		want := map[string]float64{}
		for key, form := range map[string]ICCForm{"icc11": ICC11, "icc21": ICC21, "icc31": ICC31} {
			want[key] = mustBe(t)(IntraclassCorrelation(ratings, form, 0.95)).Value
		}
		tasks = append(tasks, rTask{"ratings", data, want, 1e-7})
	}
	return tasks
}
