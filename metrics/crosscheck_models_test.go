package metrics

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// Tables for R: many comparisons, logistic models, shrinkage, pooling.

func rComparisons(t *testing.T, r *rand.Rand) []rTask {
	var tasks []rTask
	for range 5 {
		p := make([]PValue, 1+r.IntN(12))
		list := make([]float64, len(p))
		for i := range p {
			p[i].P = math.Round(1000*r.Float64()*r.Float64()) / 1000
			list[i] = p[i].P
		}
		want := map[string]float64{}
		for key, f := range map[string]func([]PValue) ([]PValue, error){
			"bonferroni": Bonferroni, "holm": Holm, "hochberg": Hochberg, "BH": BenjaminiHochberg, "BY": BenjaminiYekutieli,
		} {
			adjusted, err := f(p)
			if err != nil {
				t.Fatal(err)
			}
			for i, v := range adjusted {
				want[fmt.Sprintf("%s%d", key, i+1)] = v.P
			}
		}
		tasks = append(tasks, rTask{"padjust", []string{numbers(list...)}, want, 1e-12})
	}
	return tasks
}

// drawPatterns makes patterns of flags and a number, with overlapping outcomes.
func drawPatterns(r *rand.Rand, covariates int) (patterns []Pattern, data []string) {
	for range 12 {
		p := Pattern{X: make([]float64, covariates), Trials: 3 + r.Int64N(12)}
		eta := -0.5
		for j := range p.X {
			p.X[j] = float64(r.IntN(2))
			if j == covariates-1 {
				p.X[j] = math.Round(100*r.Float64()) / 10
			}
			eta += p.X[j] * []float64{0.6, -0.4, 0.1}[j%3]
		}
		for range p.Trials {
			if r.Float64() < logistic(eta) {
				p.Successes++
			}
		}
		patterns = append(patterns, p)
		data = append(data, numbers(p.X...)+" "+numbers(p.Successes, p.Trials))
	}
	return patterns, data
}

func rLogistic(t *testing.T, r *rand.Rand) []rTask {
	var tasks []rTask
	for i := range 6 {
		k := 1 + i%3
		terms := []string{"a", "b", "c"}[:k]
		patterns, data := drawPatterns(r, k)
		fit, err := FitLogistic(terms, patterns)
		if err != nil || fit.NotEstimable != "" {
			t.Fatalf("%q, %v", fit.NotEstimable, err)
		}
		profile := mustTable(t, fit.ProfileLimits, 0.95)[k]
		want := map[string]float64{"loglik": fit.LogLik, "profile.low": profile.LogOdds.Low, "profile.high": profile.LogOdds.High, "lr.p": profile.P}
		for j := range fit.Coef {
			want[fmt.Sprintf("coef%d", j+1)], want[fmt.Sprintf("se%d", j+1)] = fit.Coef[j], fit.SE[j]
		}
		var predictions []Prediction
		for _, p := range patterns {
			prob, err := fit.Predict(p.X)
			if err != nil {
				t.Fatal(err)
			}
			want["predicted"] += prob / float64(len(patterns))
			predictions = append(predictions, Prediction{logistic(0.8*math.Log(prob/(1-prob)) + 0.3), p.Successes, p.Trials})
		}
		tasks = append(tasks, rTask{"logistic", data, want, 1e-6}, rCalibration(t, predictions))

		firth, err := FitFirth(terms, patterns)
		if err != nil || firth.NotEstimable != "" {
			t.Fatalf("%q, %v", firth.NotEstimable, err)
		}
		want = map[string]float64{"loglik": firth.LogLik}
		for j, b := range firth.Coef {
			want[fmt.Sprintf("coef%d", j+1)] = b
		}
		tasks = append(tasks, rTask{"firth", data, want, 1e-4})
	}
	return tasks
}

func rCalibration(t *testing.T, predictions []Prediction) rTask {
	var p []float64
	var s, n []int64
	for _, x := range predictions {
		p, s, n = append(p, x.P), append(s, x.Successes), append(n, x.Trials)
	}
	cal, err1 := Calibrate(predictions, 0.95)
	b, err2 := Brier(predictions)
	hl, err3 := HosmerLemeshow(predictions, 5)
	if err1 != nil || err2 != nil || err3 != nil || hl.NotEstimable != "" {
		t.Fatal(err1, err2, err3, hl.NotEstimable)
	}
	return rTask{"calibration", []string{numbers(p...), numbers(s...), numbers(n...)}, map[string]float64{
		"intercept": cal.Intercept.Value, "intercept.se": cal.InterceptSE, "slope": cal.Slope.Value, "slope.se": cal.SlopeSE,
		"brier": b.Score, "logloss": b.LogLoss, "groups": float64(len(hl.Groups)), "chisq": hl.ChiSquare}, 1e-6}
}

func rClusters(t *testing.T, r *rand.Rand) []rTask {
	var tasks []rTask
	for range 3 {
		var patterns []Pattern
		var cluster []int64
		var data []string
		for c := range int64(12) {
			for _, x := range []float64{0, 1} {
				n := 1 + r.Int64N(6)
				p := Pattern{[]float64{x}, r.Int64N(n + 1), n}
				patterns, cluster = append(patterns, p), append(cluster, c)
				data = append(data, numbers(float64(c), x, float64(p.Successes), float64(n)))
			}
		}
		fit, err := FitLogistic([]string{"x"}, patterns)
		if err != nil {
			t.Fatal(err)
		}
		table, err := fit.ClusterLimits(cluster, 0.95)
		if err != nil || !table[1].LogOdds.Estimable() {
			t.Fatalf("%+v, %v", table, err)
		}
		tasks = append(tasks, rTask{"clusters", data, map[string]float64{"se1": table[0].SE, "se2": table[1].SE}, 1e-7})
	}
	return tasks
}

func rShrinkage(t *testing.T, r *rand.Rand) []rTask {
	var tasks []rTask
	for range 4 {
		groups := make([]GroupCount, 15)
		var s, n []int64
		for i := range groups {
			trials := 5 + r.Int64N(30)
			groups[i] = GroupCount{int64(math.Round(float64(trials) * math.Pow(r.Float64(), 1.5))), trials}
			s, n = append(s, groups[i].Successes), append(n, trials)
		}
		prior, err := BetaByML(groups)
		if err != nil || prior.NotEstimable != "" {
			t.Fatalf("%+v, %v", prior, err)
		}
		shrunken, err := prior.Shrink(groups, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		tasks = append(tasks, rTask{"betabinomial", []string{numbers(s...), numbers(n...)}, map[string]float64{
			"mean": prior.Mean, "rho": prior.Rho, "loglik": prior.LogLik,
			"first": shrunken[0].Shrunken.Value, "first.low": shrunken[0].Shrunken.Low}, 1e-4})
	}
	return tasks
}

func rPooling(t *testing.T, r *rand.Rand) []rTask {
	var tasks []rTask
	for i := range 6 {
		effects := make([]Effect, 4+r.IntN(8))
		var y, v []float64
		for j := range effects {
			variance := 0.05 + 0.5*r.Float64()
			effects[j] = Effect{Value: 1 + r.NormFloat64()*math.Sqrt(variance+0.3*float64(i)), Variance: variance}
			y, v = append(y, effects[j].Value), append(v, variance)
		}
		fixed, dl, reml := mustPool(t, PoolFixed, effects), mustPool(t, PoolDerSimonianLaird, effects), mustPool(t, PoolREML, effects)
		set, _, _ := startPool(effects, 0.95, MethodPoolREML)
		tasks = append(tasks, rTask{"pool", []string{numbers(y...), numbers(v...)}, map[string]float64{
			"fixed": fixed.Summary.Value, "fixed.se": fixed.SE, "q": fixed.Q, "dl.tau2": dl.Tau2, "dl": dl.Summary.Value,
			"dl.kh.low": dl.KnappHartung.Low, "dl.kh.high": dl.KnappHartung.High, "reml": reml.Summary.Value,
			"reml.loglik": set.restrictedLogLik(reml.Tau2) - float64(len(y))*math.Log(2*math.Pi)/2}, 1e-5})
	}
	for range 4 {
		var tables []TwoByTwo
		var data []string
		for range 6 + r.IntN(6) {
			tab := TwoByTwo{5 + r.Int64N(60), r.Int64N(20), r.Int64N(12), 5 + r.Int64N(100)}
			tables, data = append(tables, tab), append(data, cells(tab))
		}
		d, err := Deeks(tables)
		if err != nil || d.NotEstimable != "" {
			t.Fatalf("%+v, %v", d, err)
		}
		tasks = append(tasks, rTask{"deeks", data, map[string]float64{"slope": d.Slope, "se": d.SE, "p": d.P}, 1e-7})
		lines := lineCounts(tables, true)
		var s, n []int64
		for _, g := range lines {
			s, n = append(s, g.Successes), append(n, g.Trials)
		}
		b, err := PoolBinomialNormal(lines, 0.95)
		if err != nil || b.Tau2 == 0 {
			t.Fatalf("%v: %+v, %v", lines, b, err)
		}
		tasks = append(tasks, rTask{"binomialnormal", []string{numbers(s...), numbers(n...)}, map[string]float64{
			"logit": b.Logit.Value, "loglik": b.LogLik}, 1e-4})
	}
	return tasks
}
