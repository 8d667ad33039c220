package metrics

import (
	"math"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// MethodBinomialNormal names the pooled proportion of PoolBinomialNormal.
const MethodBinomialNormal Method = "binomial-normal random effects, maximum likelihood"

// quadraturePoints is the number of Gauss-Hermite nodes a line. With the nodes
// moved to each line's own peak, 25 leave an error far below the printed digits.
const quadraturePoints = 25

// BinomialNormal is a pooled proportion from a model of the counts themselves.
type BinomialNormal struct {
	// Logit is the mean of the lines' log odds with Wald limits; Proportion the
	// same taken back to 0..1. The latter is the proportion of the middle line,
	// not the average over lines.
	Logit, Proportion Estimate
	// SE is the standard error of Logit, 0 where it is not estimable.
	SE float64
	// Tau2 is the variance of the log odds between lines, 0 where the lines
	// differ no more than chance makes them.
	Tau2 float64
	// Prediction holds the proportion of a further line of the same kind
	// (Student's t on lines - 2 degrees of freedom).
	Prediction Estimate
	// LogLik is the log-likelihood without binomial coefficients.
	LogLik float64
	// Lines is the number of lines with at least one trial.
	Lines int
}

// PoolBinomialNormal pools proportions of lines whose true log odds follow a
// normal distribution and whose counts are binomial. It needs no half calls for
// empty cells, which matters where sensitivity is close to 1 and many lines
// missed nobody. The integral over the log odds is taken by Gauss-Hermite
// quadrature around each line's peak.
//
// Lines without trials are left out. Fewer than two lines, or no success or no
// failure in any line, is not estimable. It returns an error wrapping
// ErrArgument for a count outside 0..Trials or a conf outside (0, 1). Also
// called a random-intercept logistic model or exact-likelihood meta-analysis.
//
// Source: Hamza, van Houwelingen & Stijnen (2008) J Clin Epidemiol 61:41-51;
// quadrature Liu & Pierce (1994) Biometrika 81:624-629.
func PoolBinomialNormal(lines []GroupCount, conf float64) (BinomialNormal, error) {
	if err := checkConf(conf); err != nil {
		return BinomialNormal{}, err
	}
	used, err := groupsWithTrials(lines)
	if err != nil {
		return BinomialNormal{}, err
	}
	res := BinomialNormal{Lines: len(used)}
	common := commonProportion(used)
	reason := ""
	switch {
	case len(used) < 2:
		reason = "fewer than 2 lines to pool"
	case common == 0:
		reason = "no line has a success"
	case common == 1:
		reason = "no line has a failure"
	}
	if reason == "" {
		reason = res.fit(used, common, conf)
	}
	if reason != "" {
		none := notEstimable(conf, MethodBinomialNormal, "%s", reason)
		res.Logit, res.Proportion, res.Prediction = none, none, none
	}
	return res, nil
}

// fit maximises the likelihood; it returns why it could not.
func (b *BinomialNormal) fit(lines []GroupCount, common, conf float64) (reason string) {
	q := newQuadrature(quadraturePoints)
	mu := math.Log(common / (1 - common))
	x, ok := climbSmooth(func(x []float64) float64 { return q.logLik(lines, x[0], math.Exp(x[1])) }, []float64{mu, -0.7})
	b.LogLik = q.logLik(lines, mu, 0)
	if ok && q.logLik(lines, x[0], math.Exp(x[1])) > b.LogLik+1e-7 {
		mu, b.Tau2 = x[0], math.Exp(2*x[1])
		b.LogLik = q.logLik(lines, x[0], math.Exp(x[1]))
	}
	// At tau = 0 the information on tau carries nothing about the mean.
	var at []float64
	var f func([]float64) float64
	if b.Tau2 > 0 {
		at, f = x, func(x []float64) float64 { return q.logLik(lines, x[0], math.Exp(x[1])) }
	} else {
		at, f = []float64{mu}, func(x []float64) float64 { return q.logLik(lines, x[0], 0) }
	}
	cov, ok := inverseNegativeHessian(f, at)
	if !ok {
		return "the likelihood has no clear peak"
	}
	b.SE = math.Sqrt(cov.At(0, 0))
	b.Logit = around(mu, twoSidedZ(conf)*b.SE, conf, MethodBinomialNormal)
	b.Proportion = FromLogit(b.Logit)
	b.Prediction = notEstimable(conf, MethodPrediction, "fewer than 3 lines say nothing about a further one")
	if k := float64(b.Lines); k >= 3 {
		b.Prediction = FromLogit(around(mu, twoSidedT(conf, k-2)*math.Sqrt(b.Tau2+b.SE*b.SE), conf, MethodPrediction))
	}
	return ""
}

// quadrature holds Gauss-Hermite nodes with log weights that include exp(x^2).
type quadrature struct{ x, logW []float64 }

func newQuadrature(n int) quadrature {
	q := quadrature{make([]float64, n), make([]float64, n)}
	w := make([]float64, n)
	quad.Hermite{}.FixedLocations(q.x, w, math.Inf(-1), math.Inf(1))
	for i := range w {
		q.logW[i] = math.Log(w[i]) + q.x[i]*q.x[i]
	}
	return q
}

// logLik is the log-likelihood of all lines at mean mu and spread tau.
func (q quadrature) logLik(lines []GroupCount, mu, tau float64) float64 {
	ll := 0.0
	for _, g := range lines {
		s, n := float64(g.Successes), float64(g.Trials)
		if tau == 0 {
			ll += s*mu - n*softplus(mu)
			continue
		}
		ll += q.line(s, n, mu, tau)
	}
	return ll
}

// line integrates one line's likelihood over its standard normal deviate.
func (q quadrature) line(s, n, mu, tau float64) float64 {
	h := func(b float64) float64 { return s*(mu+tau*b) - n*softplus(mu+tau*b) - b*b/2 }
	peak, curvature := 0.0, 1.0
	for range 100 {
		p := logistic(mu + tau*peak)
		curvature = 1 + tau*tau*n*p*(1-p)
		step := (tau*(s-n*p) - peak) / curvature
		// Close to the peak rounding decides the comparison, and Newton needs none.
		for math.Abs(step) > 1e-3 && h(peak+step) < h(peak) {
			step /= 2
		}
		peak += step
		if math.Abs(step) < 1e-9 {
			break
		}
	}
	p := logistic(mu + tau*peak)
	curvature = 1 + tau*tau*n*p*(1-p)
	width := math.Sqrt2 / math.Sqrt(curvature)
	terms := make([]float64, len(q.x))
	for i, x := range q.x {
		terms[i] = q.logW[i] + h(peak+width*x)
	}
	return logSum(terms) + math.Log(width) - math.Log(2*math.Pi)/2
}

// logSum is log(sum exp(terms)) without overflow.
func logSum(terms []float64) float64 {
	top := math.Inf(-1)
	for _, t := range terms {
		top = math.Max(top, t)
	}
	sum := 0.0
	for _, t := range terms {
		sum += math.Exp(t - top)
	}
	return top + math.Log(sum)
}

// climbSmooth climbs a smooth f: first by the simplex method, which forgives a
// poor start and a ridge at the edge of the parameters, then by BFGS with
// numerical derivatives from where that stopped.
func climbSmooth(f func([]float64) float64, start []float64) ([]float64, bool) {
	down := func(x []float64) float64 {
		if v := f(x); !math.IsNaN(v) {
			return -v
		}
		return math.Inf(1)
	}
	rough, err := optimize.Minimize(optimize.Problem{Func: down}, start, &optimize.Settings{
		MajorIterations: 4000,
		Converger:       &optimize.FunctionConverge{Absolute: 1e-6, Iterations: 30},
	}, &optimize.NelderMead{})
	if err != nil || rough == nil || math.IsInf(rough.F, 0) {
		return nil, false
	}
	problem := optimize.Problem{Func: down, Grad: func(grad, x []float64) {
		fd.Gradient(grad, down, x, &fd.Settings{Formula: fd.Central, Step: 1e-4})
	}}
	// The line search gives up where rounding hides a further fall; what it
	// found is then as good as can be.
	fine, _ := optimize.Minimize(problem, rough.X, &optimize.Settings{MajorIterations: 200, GradientThreshold: 1e-7}, &optimize.BFGS{})
	if fine != nil && fine.F < rough.F {
		return fine.X, true
	}
	return rough.X, true
}

// inverseNegativeHessian is the asymptotic covariance at a maximum. It is not ok
// when the point is no peak.
func inverseNegativeHessian(f func([]float64) float64, at []float64) (*mat.SymDense, bool) {
	h := mat.NewSymDense(len(at), nil)
	fd.Hessian(h, f, at, &fd.Settings{Step: 1e-3})
	h.ScaleSym(-1, h)
	var chol mat.Cholesky
	if !chol.Factorize(h) {
		return nil, false
	}
	var cov mat.SymDense
	return &cov, chol.InverseTo(&cov) == nil
}
