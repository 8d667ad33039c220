package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// DeeksTest is the answer of Deeks.
type DeeksTest struct {
	// Slope is the change of the log diagnostic odds ratio for one more unit of
	// 1 / sqrt(effective size), with its standard error.
	Slope, SE float64
	// T has DF = lines - 2 degrees of freedom; P is two-sided.
	T, P float64
	DF   int
	// NotEstimable is empty, or the reason why there is no test.
	NotEstimable string
}

// Deeks tests whether small lines report a better (or worse) test than large
// ones, as happens when disappointing small results are not shared: a regression
// of the log diagnostic odds ratio on 1 / sqrt(ESS), weighted by the effective
// size ESS = 4 needed notNeeded / (needed + notNeeded).
//
// Half a call is added to every cell of every line. Lines with nobody in need or
// nobody out of need are left out; fewer than three lines, or lines all of one
// effective size, are reported in NotEstimable. The test finds little with few
// lines, and lines differ for other reasons too. It returns an error wrapping
// ErrArgument for a negative cell. Also called the funnel plot asymmetry test
// for diagnostic odds ratios.
//
// Source: Deeks, Macaskill & Irwig (2005) J Clin Epidemiol 58:882-893.
func Deeks(tables []TwoByTwo) (DeeksTest, error) {
	effects, err := LogOddsRatioEffects(tables, HalfEverywhere)
	if err != nil {
		return DeeksTest{}, err
	}
	var x, y, w []float64
	for i, t := range tables {
		if effects[i].NotEstimable != "" {
			continue
		}
		needed, not := float64(t.TP+t.FN), float64(t.FP+t.TN)
		ess := 4 * needed * not / (needed + not)
		x, y, w = append(x, 1/math.Sqrt(ess)), append(y, effects[i].Value), append(w, ess)
	}
	if len(x) < 3 {
		return DeeksTest{NotEstimable: "fewer than 3 lines"}, nil
	}
	slope, se, ok := weightedLine(x, y, w)
	if !ok {
		return DeeksTest{NotEstimable: "the lines do not differ in size, or lie exactly on one line"}, nil
	}
	res := DeeksTest{Slope: slope, SE: se, T: slope / se, DF: len(x) - 2}
	res.P = 2 * distuv.StudentsT{Sigma: 1, Nu: float64(res.DF)}.Survival(math.Abs(res.T))
	return res, nil
}

// weightedLine fits y = a + b x by weighted least squares and returns b with its
// standard error.
func weightedLine(x, y, w []float64) (slope, se float64, ok bool) {
	var sw, mx, my float64
	for i := range x {
		sw += w[i]
		mx += w[i] * x[i]
		my += w[i] * y[i]
	}
	mx, my = mx/sw, my/sw
	var sxx, sxy, scale float64
	for i := range x {
		sxx += w[i] * (x[i] - mx) * (x[i] - mx)
		sxy += w[i] * (x[i] - mx) * (y[i] - my)
		scale += w[i] * x[i] * x[i]
	}
	if sxx <= 1e-12*scale {
		return 0, 0, false
	}
	slope = sxy / sxx
	rss := 0.0
	for i := range x {
		r := y[i] - my - slope*(x[i]-mx)
		rss += w[i] * r * r
	}
	se = math.Sqrt(rss / float64(len(x)-2) / sxx)
	return slope, se, se > 0
}
