package metrics

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"
)

// Names of the limits of logistic regression.
const (
	MethodLogisticWald    Method = "logistic regression, Wald"
	MethodLogisticProfile Method = "logistic regression, profile likelihood"
	MethodFirthProfile    Method = "Firth's penalised logistic regression, profile penalised likelihood"
)

// interceptTerm is the name of the constant that every model has first.
const interceptTerm = "(intercept)"

// Pattern is one combination of covariate values (flags as 0 or 1, or any
// numbers) with the calls that showed it. The same combination may come more
// than once; the answers do not depend on how calls are gathered into patterns.
type Pattern struct {
	// X holds one value a covariate, without the constant.
	X []float64
	// Successes of Trials calls had the outcome (needed prompt care).
	Successes, Trials int64
}

// LogisticFit is a fitted logistic model: the log odds of the outcome are the
// constant plus the sum of coefficient times covariate.
type LogisticFit struct {
	// Terms are the names of the coefficients, "(intercept)" first.
	Terms []string
	// Coef are the coefficients on the log odds scale, one a term; empty where
	// NotEstimable is set.
	Coef []float64
	// SE are standard errors from the inverse information. After FitFirth they
	// are for reference only: take limits from ProfileLimits.
	SE []float64
	// Cov is the covariance matrix of the coefficients.
	Cov [][]float64
	// LogLik is the maximised log-likelihood of the single calls (no binomial
	// coefficients), penalised after FitFirth; NullLogLik that of the constant
	// alone. The deviance of ungrouped calls is -2 LogLik.
	LogLik, NullLogLik float64
	// Successes and Trials are the totals over all patterns.
	Successes, Trials int64
	// Penalised says that the fit is Firth's.
	Penalised bool
	// Separated names the terms that separate the outcomes perfectly or almost:
	// their ordinary estimates run to infinity.
	Separated []string
	// NotEstimable is empty, or the reason why there is no fit.
	NotEstimable string

	design   *logitDesign
	coef     []float64 // on the design's scale
	peak     float64   // the maximised likelihood on the design's scale
	patterns int       // how many the caller gave
}

// Coefficient is one line of a model's table.
type Coefficient struct {
	// Term is the covariate's name.
	Term string
	// LogOdds is the coefficient; OddsRatio its exponential, the factor on the
	// odds for one more unit of the covariate, all others held.
	LogOdds, OddsRatio Estimate
	// SE is the standard error the limits rest on, 0 for profile limits.
	SE float64
	// P tests a coefficient of 0, two-sided, by the method of the limits; it
	// is 0 and means nothing where LogOdds is not estimable.
	P float64
}

// AIC is Akaike's information criterion, -2 LogLik + 2 coefficients; it compares
// models on the same calls and means nothing across different calls. It is 0,
// and means nothing, for a model that was not estimable or that is penalised.
func (f LogisticFit) AIC() float64 {
	if f.Penalised {
		return 0
	}
	return -2*f.LogLik + 2*float64(len(f.Coef))
}

// FitLogistic fits a logistic model to grouped counts by maximum likelihood,
// to ask what each of several flags adds when the others are known.
//
// terms names the covariates in the order of every pattern's X. Patterns
// without trials are ignored. The model is not estimable, with the reason in
// words and the terms in Separated, when a combination of covariates separates
// the outcomes (then FitFirth still answers), when a covariate is a
// combination of the others, or when no call, no success or no failure exists.
// It returns an error wrapping ErrArgument for a count outside 0..Trials, a covariate that is not
// a finite number, or a pattern with another number of covariates than terms.
//
// Source: Hosmer & Lemeshow, Applied Logistic Regression, 2nd ed. 2000, chapter
// 2; separation after Albert & Anderson (1984) Biometrika 71:1-10.
func FitLogistic(terms []string, patterns []Pattern) (LogisticFit, error) {
	fit, err := newLogisticFit(terms, patterns)
	if err != nil || fit.NotEstimable != "" {
		return fit, err
	}
	if fit.Separated = fit.design.separatedTerms(fit.Terms); len(fit.Separated) > 0 {
		fit.NotEstimable = fmt.Sprintf("%s separates the calls with the outcome from those without, so the estimate runs to infinity; Firth's penalised form has an answer", strings.Join(fit.Separated, ", "))
		return fit, nil
	}
	fit.finish()
	return fit, nil
}

// FitFirth fits a logistic model with Firth's penalty, half the logarithm of
// the determinant of the information. It takes away the leading bias of small
// samples and stays finite under separation: a flag that never fired in an
// animal that was well still gets an estimate, whose limits come from
// ProfileLimits.
//
// Inputs and errors as for FitLogistic; Separated is filled in for the reader's
// information. A model without calls or with a covariate that is a combination
// of the others is not estimable. For one 0/1 covariate the coefficient is the
// log odds ratio with half a call added to each of the four cells.
//
// Source: Firth (1993) Biometrika 80:27-38; Heinze & Schemper (2002) Stat Med
// 21:2409-2419.
func FitFirth(terms []string, patterns []Pattern) (LogisticFit, error) {
	fit, err := newLogisticFit(terms, patterns)
	fit.Penalised = true
	if err != nil || fit.NotEstimable != "" && (fit.Trials == 0 || fit.design.aliased >= 0) {
		return fit, err
	}
	fit.NotEstimable = ""
	fit.Separated = fit.design.separatedTerms(fit.Terms)
	fit.finish()
	return fit, nil
}

// newLogisticFit checks the arguments and says what already rules out a fit.
func newLogisticFit(terms []string, patterns []Pattern) (LogisticFit, error) {
	fit := LogisticFit{Terms: append([]string{interceptTerm}, terms...)}
	design, err := newLogitDesign(len(terms), patterns)
	if err != nil {
		return fit, err
	}
	fit.design, fit.patterns = design, len(patterns)
	for _, p := range patterns {
		fit.Successes += p.Successes
		fit.Trials += p.Trials
	}
	switch {
	case fit.Trials == 0:
		fit.NotEstimable = "no calls"
	case design.aliased >= 0:
		fit.NotEstimable = fmt.Sprintf("%s is constant or a combination of the other terms in these calls", fit.Terms[design.aliased])
	case fit.Successes == 0:
		fit.NotEstimable = "no call had the outcome"
	case fit.Successes == fit.Trials:
		fit.NotEstimable = "every call had the outcome"
	}
	return fit, nil
}

// finish maximises the likelihood and fills in everything that follows from it.
func (f *LogisticFit) finish() {
	k := len(f.Terms)
	beta := make([]float64, k)
	null, _ := f.design.maximise(beta, func(j int) bool { return j == 0 }, f.Penalised)
	ll, ok := f.design.maximise(beta, func(int) bool { return true }, f.Penalised)
	cov, invertible := f.design.covariance(beta)
	if !ok || !invertible {
		f.NotEstimable = "the fit did not settle; the calls hold too little information for these terms"
		return
	}
	f.peak, f.coef = ll, beta
	f.LogLik, f.NullLogLik = ll, null
	if f.Penalised { // the penalty in the caller's units
		for _, s := range f.design.scale {
			f.LogLik += math.Log(s)
			f.NullLogLik += math.Log(s)
		}
	}
	f.Coef, f.SE, f.Cov = make([]float64, k), make([]float64, k), make([][]float64, k)
	for i := range k {
		f.Coef[i] = beta[i] / f.design.scale[i]
		f.Cov[i] = make([]float64, k)
		for j := range k {
			f.Cov[i][j] = cov.At(i, j) / (f.design.scale[i] * f.design.scale[j])
		}
		f.SE[i] = math.Sqrt(f.Cov[i][i])
	}
}

// Predict returns the modelled probability of the outcome at covariates x, in
// the order of the terms without the constant. It returns an error wrapping ErrArgument for the
// wrong number of covariates, a value that is not finite, or a model that was
// not estimable.
func (f LogisticFit) Predict(x []float64) (float64, error) {
	if f.NotEstimable != "" {
		return 0, argErr("prediction from a model that was not estimable: %s", f.NotEstimable)
	}
	if len(x) != len(f.Terms)-1 {
		return 0, argErr("%d covariates, expected %d", len(x), len(f.Terms)-1)
	}
	eta := f.Coef[0]
	for j, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return 0, argErr("covariate %s is %v, expected a finite number", f.Terms[j+1], v)
		}
		eta += f.Coef[j+1] * v
	}
	return logistic(eta), nil
}

// WaldLimits returns every coefficient with limits coefficient +- z SE. They
// are symmetric on the log odds scale and poor where counts are small; prefer
// ProfileLimits. After FitFirth they are marked not estimable on purpose: the
// penalised likelihood is far from symmetric just where the penalty matters.
//
// It returns an error wrapping ErrArgument for a conf outside (0, 1).
//
// Source: Hosmer & Lemeshow 2000, section 2.4.
func (f LogisticFit) WaldLimits(conf float64) ([]Coefficient, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	if f.Penalised && f.NotEstimable == "" {
		return f.withoutLimits(conf, MethodLogisticWald, "Wald limits mislead after a penalised fit; use profile limits"), nil
	}
	return f.waldFrom(f.SE, conf, MethodLogisticWald, twoSidedZ(conf),
		func(z float64) float64 { return 2 * distuv.UnitNormal.Survival(math.Abs(z)) }), nil
}

// waldFrom builds the table from standard errors, a critical value and the
// two-sided p-value of coefficient / SE.
func (f LogisticFit) waldFrom(se []float64, conf float64, m Method, crit float64, p func(z float64) float64) []Coefficient {
	if f.NotEstimable != "" {
		return f.withoutLimits(conf, m, f.NotEstimable)
	}
	out := make([]Coefficient, len(f.Terms))
	for i, term := range f.Terms {
		e := Estimate{Value: f.Coef[i], Low: f.Coef[i] - crit*se[i], High: f.Coef[i] + crit*se[i], Conf: conf, Method: m}
		out[i] = Coefficient{Term: term, LogOdds: e, OddsRatio: expEstimate(e), SE: se[i], P: p(f.Coef[i] / se[i])}
	}
	return out
}

func (f LogisticFit) withoutLimits(conf float64, m Method, reason string) []Coefficient {
	out := make([]Coefficient, len(f.Terms))
	for i, term := range f.Terms {
		e := notEstimable(conf, m, "%s", reason)
		out[i] = Coefficient{Term: term, LogOdds: e, OddsRatio: e}
	}
	return out
}

// expEstimate takes an estimate from a log scale to the scale of the ratio. A
// limit too large for a number is unbounded.
func expEstimate(e Estimate) Estimate {
	if !e.Estimable() {
		return e
	}
	e.Value = math.Exp(e.Value)
	if math.IsInf(e.Value, 0) {
		return notEstimable(e.Conf, e.Method, "the ratio is too large to write as a number")
	}
	if !e.LowUnbounded {
		e.Low = math.Exp(e.Low)
	}
	if !e.HighUnbounded {
		if e.High = math.Exp(e.High); math.IsInf(e.High, 0) {
			e.High, e.HighUnbounded = 0, true
		}
	}
	return e
}

// logistic is the inverse of the logit.
func logistic(eta float64) float64 { return 1 / (1 + math.Exp(-eta)) }
