package metrics

import (
	"math"
)

// Names of the bivariate models.
const (
	MethodBivariateNormal   Method = "bivariate normal random effects, REML"
	MethodBivariateBinomial Method = "bivariate binomial random effects, Laplace"
)

// Bivariate is sensitivity and specificity pooled together. Lines that send more
// animals in have higher sensitivity and lower specificity, so the two may not
// be pooled apart.
type Bivariate struct {
	// Sensitivity and Specificity are those of the middle line, with limits
	// from the log odds scale.
	Sensitivity, Specificity Estimate
	// LogitSens and LogitSpec are the means on the log odds scale, with their
	// standard errors and the covariance of the two means (for an ellipse).
	LogitSens, LogitSpec, SESens, SESpec, Covariance float64
	// SDSens and SDSpec are the standard deviations of the log odds between
	// lines, Rho their correlation. RhoKnown is false where one of the
	// deviations is 0; Rho is then 0 and means nothing.
	SDSens, SDSpec, Rho float64
	RhoKnown            bool
	// Lines is the number of lines that entered.
	Lines int
	// Warnings belong beside both figures.
	Warnings []string
}

// sensSpec is one line's counts or log odds, sensitivity first.
type sensSpec struct {
	y, v [2]float64 // log odds and variance
	s, n [2]float64 // successes and trials
}

// PoolBivariate pools sensitivity and specificity together by Reitsma's model:
// each line's two log odds are normal about their true values, which follow a
// bivariate normal distribution between lines, fitted by restricted maximum
// likelihood.
//
// Half a call is added to every cell of every line, which biases lines with few
// cases; where many lines missed nobody use PoolBivariateBinomial. Lines with
// nobody in need or nobody out of need are left out. Fewer than five lines (the
// model has five parameters) are not estimable. It returns an error wrapping
// ErrArgument for a negative cell or a conf outside (0, 1).
//
// Source: Reitsma et al. (2005) J Clin Epidemiol 58:982-990.
func PoolBivariate(tables []TwoByTwo, conf float64) (Bivariate, error) {
	lines, res, err := startBivariate(tables, conf, MethodBivariateNormal)
	if err != nil || len(lines) < bivariateLines {
		return res, err
	}
	x, ok := climbSmooth(func(x []float64) float64 { return normalPair(lines, spread(x)).ll }, []float64{-0.3, 0, -0.3})
	if !ok {
		return res.unsettled(conf, MethodBivariateNormal), nil
	}
	l := spread(x)
	fit := normalPair(lines, l)
	res.fill(fit.mean, fit.cov, l, conf, MethodBivariateNormal)
	return res, nil
}

// PoolBivariateBinomial is PoolBivariate with the counts themselves binomial, so
// that no half calls are needed. The likelihood uses Laplace's approximation to
// the integral over each line's two log odds; standard errors come from its
// curvature.
//
// Edges and errors as for PoolBivariate; it is also not estimable when no line
// missed anybody, or none marked anybody without need, and so on for each of the
// four cells.
//
// Source: Chu & Cole (2006) J Clin Epidemiol 59:1331-1332.
func PoolBivariateBinomial(tables []TwoByTwo, conf float64) (Bivariate, error) {
	lines, res, err := startBivariate(tables, conf, MethodBivariateBinomial)
	if err != nil || len(lines) < bivariateLines {
		return res, err
	}
	var total TwoByTwo
	for _, t := range tables {
		total = total.Add(t)
	}
	if total.TP == 0 || total.FP == 0 || total.FN == 0 || total.TN == 0 {
		none := notEstimable(conf, MethodBivariateBinomial, "a cell is empty in every line")
		res.Sensitivity, res.Specificity = none, none
		return res, nil
	}
	f := func(x []float64) float64 {
		return laplacePair(lines, [2]float64{x[0], x[1]}, spread(x[2:]))
	}
	start := []float64{
		math.Log(float64(total.TP) / float64(total.FN)), math.Log(float64(total.TN) / float64(total.FP)), -0.3, 0, -0.3,
	}
	x, ok := climbSmooth(f, start)
	if !ok {
		return res.unsettled(conf, MethodBivariateBinomial), nil
	}
	cov, ok := inverseNegativeHessian(f, x)
	if !ok {
		// A spread at its edge leaves the likelihood flat in that direction; the
		// means still have their own curvature at that spread.
		cov, ok = inverseNegativeHessian(func(m []float64) float64 {
			return laplacePair(lines, [2]float64{m[0], m[1]}, spread(x[2:]))
		}, x[:2])
		res.Warnings = append(res.Warnings, "the limits take the variation between lines as known")
	}
	if !ok {
		return res.unsettled(conf, MethodBivariateBinomial), nil
	}
	means := [2][2]float64{{cov.At(0, 0), cov.At(0, 1)}, {cov.At(0, 1), cov.At(1, 1)}}
	res.fill([2]float64{x[0], x[1]}, means, spread(x[2:]), conf, MethodBivariateBinomial)
	return res, nil
}

// bivariateLines is the least number of lines for five parameters.
const bivariateLines = 5

func startBivariate(tables []TwoByTwo, conf float64, m Method) ([]sensSpec, Bivariate, error) {
	if err := checkConf(conf); err != nil {
		return nil, Bivariate{}, err
	}
	var lines []sensSpec
	for _, t := range tables {
		if err := t.check(); err != nil {
			return nil, Bivariate{}, err
		}
		if t.TP+t.FN == 0 || t.FP+t.TN == 0 {
			continue
		}
		tp, fn, tn, fp := float64(t.TP)+0.5, float64(t.FN)+0.5, float64(t.TN)+0.5, float64(t.FP)+0.5
		lines = append(lines, sensSpec{
			y: [2]float64{math.Log(tp / fn), math.Log(tn / fp)},
			v: [2]float64{1/tp + 1/fn, 1/tn + 1/fp},
			s: [2]float64{float64(t.TP), float64(t.TN)},
			n: [2]float64{float64(t.TP + t.FN), float64(t.TN + t.FP)},
		})
	}
	none := notEstimable(conf, m, "fewer than %d lines for a model of five parameters", bivariateLines)
	return lines, Bivariate{Sensitivity: none, Specificity: none, Lines: len(lines)}, nil
}

func (b Bivariate) unsettled(conf float64, m Method) Bivariate {
	none := notEstimable(conf, m, "the fit did not settle; the lines hold too little information for five parameters")
	return Bivariate{Sensitivity: none, Specificity: none, Lines: b.Lines}
}

// spread is the lower triangle L of the between-line covariance L L', from
// unbounded parameters.
func spread(x []float64) [2][2]float64 {
	return [2][2]float64{{math.Exp(x[0]), 0}, {x[1], math.Exp(x[2])}}
}

// fill turns the fitted parameters into the result.
func (b *Bivariate) fill(mean [2]float64, cov, l [2][2]float64, conf float64, m Method) {
	b.LogitSens, b.LogitSpec = mean[0], mean[1]
	b.SESens, b.SESpec, b.Covariance = math.Sqrt(cov[0][0]), math.Sqrt(cov[1][1]), cov[0][1]
	b.SDSens, b.SDSpec = l[0][0], math.Hypot(l[1][0], l[1][1])
	// Below this the log odds of two lines differ by less than rounding shows.
	const flat = 1e-3
	if b.SDSens < flat {
		b.SDSens = 0
	}
	if b.SDSpec < flat {
		b.SDSpec = 0
	}
	if b.SDSens > 0 && b.SDSpec > 0 {
		b.Rho, b.RhoKnown = l[1][0]/b.SDSpec, true
	}
	if !b.RhoKnown || math.Abs(b.Rho) > 0.999 {
		b.Warnings = append(b.Warnings, "the variation between lines sits at the edge of what the model allows; the lines hold too little information about it")
	}
	z := twoSidedZ(conf)
	b.Sensitivity = FromLogit(around(mean[0], z*b.SESens, conf, m))
	b.Specificity = FromLogit(around(mean[1], z*b.SESpec, conf, m))
}

// pairFit is the restricted likelihood of a spread, with the means it implies.
type pairFit struct {
	ll   float64
	mean [2]float64
	cov  [2][2]float64
}

// normalPair is the restricted log-likelihood of the bivariate normal model.
func normalPair(lines []sensSpec, l [2][2]float64) pairFit {
	var sumW [2][2]float64
	var sumWY [2]float64
	inv := make([][2][2]float64, len(lines))
	ll := 0.0
	for i, line := range lines {
		w, det := invert2([2][2]float64{
			{l[0][0]*l[0][0] + line.v[0], l[0][0] * l[1][0]},
			{l[0][0] * l[1][0], l[1][0]*l[1][0] + l[1][1]*l[1][1] + line.v[1]},
		})
		inv[i] = w
		ll -= math.Log(det)
		for a := range 2 {
			for b := range 2 {
				sumW[a][b] += w[a][b]
				sumWY[a] += w[a][b] * line.y[b]
			}
		}
	}
	cov, det := invert2(sumW)
	fit := pairFit{cov: cov}
	for a := range 2 {
		fit.mean[a] = cov[a][0]*sumWY[0] + cov[a][1]*sumWY[1]
	}
	for i, line := range lines {
		r := [2]float64{line.y[0] - fit.mean[0], line.y[1] - fit.mean[1]}
		w := inv[i]
		ll -= r[0]*r[0]*w[0][0] + 2*r[0]*r[1]*w[0][1] + r[1]*r[1]*w[1][1]
	}
	fit.ll = (ll - math.Log(det)) / 2
	return fit
}

// laplacePair is the log-likelihood of the bivariate binomial model by Laplace's
// method.
func laplacePair(lines []sensSpec, mean [2]float64, l [2][2]float64) float64 {
	ll := 0.0
	for _, line := range lines {
		ll += line.laplace(mean, l)
	}
	return ll
}

// laplace approximates one line's integral over two standard normal deviates.
func (line sensSpec) laplace(mean [2]float64, l [2][2]float64) float64 {
	h := func(b [2]float64) float64 {
		sum := -(b[0]*b[0] + b[1]*b[1]) / 2
		for a := range 2 {
			eta := mean[a] + l[a][0]*b[0] + l[a][1]*b[1]
			sum += line.s[a]*eta - line.n[a]*softplus(eta)
		}
		return sum
	}
	var b [2]float64
	det := 1.0
	for range 100 {
		grad := [2]float64{-b[0], -b[1]}
		hess := [2][2]float64{{1, 0}, {0, 1}}
		for a := range 2 {
			p := logistic(mean[a] + l[a][0]*b[0] + l[a][1]*b[1])
			w := line.n[a] * p * (1 - p)
			for i := range 2 {
				grad[i] += (line.s[a] - line.n[a]*p) * l[a][i]
				for j := range 2 {
					hess[i][j] += w * l[a][i] * l[a][j]
				}
			}
		}
		var inv [2][2]float64
		inv, det = invert2(hess)
		step := [2]float64{inv[0][0]*grad[0] + inv[0][1]*grad[1], inv[1][0]*grad[0] + inv[1][1]*grad[1]}
		size := math.Hypot(step[0], step[1])
		if size < 1e-12 {
			break
		}
		// Close to the peak rounding decides the comparison, and Newton needs none.
		t := 1.0
		for t*size > 1e-3 && h([2]float64{b[0] + t*step[0], b[1] + t*step[1]}) < h(b) {
			t /= 2
		}
		b[0], b[1] = b[0]+t*step[0], b[1]+t*step[1]
	}
	return h(b) - math.Log(det)/2
}

// invert2 inverts a symmetric two-by-two matrix.
func invert2(m [2][2]float64) (inv [2][2]float64, det float64) {
	det = m[0][0]*m[1][1] - m[0][1]*m[1][0]
	return [2][2]float64{{m[1][1] / det, -m[0][1] / det}, {-m[1][0] / det, m[0][0] / det}}, det
}
