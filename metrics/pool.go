package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Names of the pooled estimates.
const (
	MethodPoolFixed       Method = "inverse variance, common effect"
	MethodPoolDL          Method = "random effects, DerSimonian-Laird"
	MethodPoolREML        Method = "random effects, REML"
	MethodPoolHartung     Method = "random effects, Knapp-Hartung"
	MethodPrediction      Method = "prediction interval, t"
	MethodPredictionPlain Method = "prediction interval, normal"
)

// Pooled is one figure for several lines, with how much the lines differ. All
// estimates are on the scale of the effects; see FromLogit and FromLog.
type Pooled struct {
	// Summary is the pooled value with normal limits: the mean of the lines'
	// true values (random effects) or their one common value (fixed).
	Summary Estimate
	// SE is its standard error; Z and P test a value of 0 (rarely of interest
	// for log odds of a proportion).
	SE, Z, P float64
	// KnappHartung is the same value with limits from Student's t and a
	// variance that follows the observed scatter. With few lines these are the
	// limits to show. Not estimable for a common effect or without any scatter.
	KnappHartung Estimate
	// KnappHartungSE is its standard error, KnappHartungP the t-test of 0.
	KnappHartungSE, KnappHartungP float64
	// Prediction holds the true value of a further line of the same kind, with
	// Student's t on lines - 2 degrees of freedom; with few lines it is wide,
	// rightly. PredictionPlain uses the normal quantile, as some programs do;
	// it is too short with few lines. Neither exists for a common effect.
	Prediction, PredictionPlain Estimate
	// Tau2 is the variance of the true values between lines.
	Tau2 float64
	// Q is Cochran's statistic of homogeneity on QDF degrees of freedom with
	// upper tail QP.
	Q, QP float64
	QDF   int
	// I2 is the share of the scatter that is between lines, 0 to 1, and H2 the
	// total over the sampling variance, at least 1 for random effects.
	I2, H2 float64
	// Weights is each line's share in Summary, in the order given; 0 for a line
	// without effect. They add up to 1.
	Weights []float64
	// Lines is the number of lines with an effect.
	Lines int
}

// PoolFixed pools effects with weights 1 / variance, as if all lines had one
// true value. Q says whether that is believable; lines that serve different
// owners with different questions rarely have one.
//
// Effects that are not estimable keep their place with weight 0. With fewer than
// two lines the summary is not estimable. It returns an error wrapping
// ErrArgument for a value that is not finite, a variance not above 0, or a conf
// outside (0, 1). Also called the fixed-effect or common-effect model.
//
// Source: Cochran (1954) Biometrics 10:101-129; I2 after Higgins & Thompson
// (2002) Stat Med 21:1539-1558.
func PoolFixed(effects []Effect, conf float64) (Pooled, error) {
	s, res, err := startPool(effects, conf, MethodPoolFixed)
	if err != nil || len(s.y) < 2 {
		return res, err
	}
	s.finish(&res, 0)
	res.H2 = res.Q / float64(res.QDF)
	res.I2 = math.Max(0, 1-1/math.Max(res.H2, 1))
	none := notEstimable(conf, MethodPoolFixed, "a common effect has no spread between lines")
	res.KnappHartung, res.Prediction, res.PredictionPlain = none, none, none
	res.KnappHartungSE, res.KnappHartungP = 0, 0
	return res, nil
}

// PoolDerSimonianLaird pools effects of lines whose true values differ, with
// weights 1 / (variance + tau2) and tau2 from the moments of Q, cut off at 0.
//
// It needs no iteration and is the estimate most papers print; REML is less
// biased with few or unequal lines. Edges and errors as for PoolFixed; the
// prediction interval needs three lines.
//
// Source: DerSimonian & Laird (1986) Control Clin Trials 7:177-188; Knapp &
// Hartung (2003) Stat Med 22:2693-2710; prediction after Higgins, Thompson &
// Spiegelhalter (2009) J R Stat Soc A 172:137-159.
func PoolDerSimonianLaird(effects []Effect, conf float64) (Pooled, error) {
	s, res, err := startPool(effects, conf, MethodPoolDL)
	if err != nil || len(s.y) < 2 {
		return res, err
	}
	s.finish(&res, s.momentTau2())
	return res, nil
}

// PoolREML pools effects of lines whose true values differ, with tau2 by
// restricted maximum likelihood. Edges, errors and the rest as for
// PoolDerSimonianLaird.
//
// Source: Viechtbauer (2005) J Educ Behav Stat 30:261-293.
func PoolREML(effects []Effect, conf float64) (Pooled, error) {
	s, res, err := startPool(effects, conf, MethodPoolREML)
	if err != nil || len(s.y) < 2 {
		return res, err
	}
	s.finish(&res, s.restrictedTau2())
	return res, nil
}

// poolSet is the effects that exist, and where they came from.
type poolSet struct {
	y, v []float64
	at   []int
	conf float64
}

func startPool(effects []Effect, conf float64, m Method) (poolSet, Pooled, error) {
	if err := checkConf(conf); err != nil {
		return poolSet{}, Pooled{}, err
	}
	s := poolSet{conf: conf}
	for i, e := range effects {
		if e.NotEstimable != "" {
			continue
		}
		if math.IsNaN(e.Value) || math.IsInf(e.Value, 0) || !(e.Variance > 0) || math.IsInf(e.Variance, 0) {
			return poolSet{}, Pooled{}, argErr("effect %d: value %v with variance %v, expected finite numbers and a variance above 0", i+1, e.Value, e.Variance)
		}
		s.y, s.v, s.at = append(s.y, e.Value), append(s.v, e.Variance), append(s.at, i)
	}
	none := notEstimable(conf, m, "fewer than 2 lines to pool")
	return s, Pooled{
		Summary: none, KnappHartung: none, Prediction: none, PredictionPlain: none,
		Weights: make([]float64, len(effects)), Lines: len(s.y),
	}, nil
}

// mean is the weighted mean at a given tau2, with the sum of weights.
func (s poolSet) mean(tau2 float64) (mu, sumW float64) {
	for i, y := range s.y {
		w := 1 / (s.v[i] + tau2)
		sumW += w
		mu += w * y
	}
	return mu / sumW, sumW
}

// scatter is the weighted sum of squares about the mean at tau2.
func (s poolSet) scatter(tau2 float64) float64 {
	mu, _ := s.mean(tau2)
	q := 0.0
	for i, y := range s.y {
		q += (y - mu) * (y - mu) / (s.v[i] + tau2)
	}
	return q
}

// momentDenominator is sum w - sum w^2 / sum w at tau2 = 0.
func (s poolSet) momentDenominator() float64 {
	var w, w2 float64
	for _, v := range s.v {
		w += 1 / v
		w2 += 1 / (v * v)
	}
	return w - w2/w
}

func (s poolSet) momentTau2() float64 {
	return math.Max(0, (s.scatter(0)-float64(len(s.y)-1))/s.momentDenominator())
}

// restrictedLogLik is the restricted log-likelihood of tau2 up to a constant.
func (s poolSet) restrictedLogLik(tau2 float64) float64 {
	_, sumW := s.mean(tau2)
	ll := -s.scatter(tau2) - math.Log(sumW)
	for _, v := range s.v {
		ll -= math.Log(v + tau2)
	}
	return ll / 2
}

// restrictedTau2 maximises the restricted likelihood: the best point of a fine
// grid, which cannot miss the higher of two hills by much, then the zero of the
// slope around it.
func (s poolSet) restrictedTau2() float64 {
	const ratio = 1.2
	best, bestLL := 0.0, s.restrictedLogLik(0)
	mu, _ := s.mean(0)
	scale := s.momentTau2()
	for i, y := range s.y {
		scale = math.Max(scale, (y-mu)*(y-mu)+s.v[i])
	}
	for t := scale * 1e-8; t <= scale*4; t *= ratio {
		if ll := s.restrictedLogLik(t); ll > bestLL {
			best, bestLL = t, ll
		}
	}
	fall := func(t float64) float64 { return -s.restrictedStep(t) }
	if best == 0 {
		return risingRoot(fall, 0, scale*1e-8)
	}
	return risingRoot(fall, best/ratio, best*ratio)
}

// restrictedStep is the Fisher scoring step (y'PPy - tr P) / tr PP, which has
// the sign of the likelihood's slope.
func (s poolSet) restrictedStep(tau2 float64) float64 {
	mu, sumW := s.mean(tau2)
	var w2, w3, r2 float64
	for i, y := range s.y {
		w := 1 / (s.v[i] + tau2)
		w2 += w * w
		w3 += w * w * w
		r2 += w * w * (y - mu) * (y - mu)
	}
	trP := sumW - w2/sumW
	trPP := w2 - 2*w3/sumW + w2*w2/(sumW*sumW)
	return (r2 - trP) / trPP
}

// finish fills in everything that follows from tau2.
func (s poolSet) finish(res *Pooled, tau2 float64) {
	k := float64(len(s.y))
	mu, sumW := s.mean(tau2)
	res.Tau2, res.Q, res.QDF = tau2, s.scatter(0), len(s.y)-1
	res.QP = distuv.ChiSquared{K: k - 1}.Survival(res.Q)
	typical := (k - 1) / s.momentDenominator() // the "typical" sampling variance
	res.I2, res.H2 = tau2/(tau2+typical), tau2/typical+1
	for i, at := range s.at {
		res.Weights[at] = 1 / (s.v[i] + tau2) / sumW
	}
	res.SE = 1 / math.Sqrt(sumW)
	res.Z = mu / res.SE
	res.P = 2 * distuv.UnitNormal.Survival(math.Abs(res.Z))
	z := twoSidedZ(s.conf)
	res.Summary = around(mu, z*res.SE, s.conf, res.Summary.Method)

	s.knappHartung(res, mu, sumW, tau2)
	spread := math.Sqrt(tau2 + res.SE*res.SE)
	res.PredictionPlain = around(mu, z*spread, s.conf, MethodPredictionPlain)
	res.Prediction = notEstimable(s.conf, MethodPrediction, "fewer than 3 lines say nothing about a further one")
	if k >= 3 {
		res.Prediction = around(mu, twoSidedT(s.conf, k-2)*spread, s.conf, MethodPrediction)
	}
}

// knappHartung fills in the limits that follow the observed scatter.
func (s poolSet) knappHartung(res *Pooled, mu, sumW, tau2 float64) {
	df := float64(len(s.y) - 1)
	scatter := s.scatter(tau2)
	if scatter < 1e-20 {
		res.KnappHartung = notEstimable(s.conf, MethodPoolHartung, "the lines do not scatter at all")
		return
	}
	res.KnappHartungSE = math.Sqrt(scatter / df / sumW)
	res.KnappHartung = around(mu, twoSidedT(s.conf, df)*res.KnappHartungSE, s.conf, MethodPoolHartung)
	res.KnappHartungP = 2 * distuv.StudentsT{Sigma: 1, Nu: df}.Survival(math.Abs(mu/res.KnappHartungSE))
	if res.KnappHartungSE < res.SE {
		res.KnappHartung.Warnings = append(res.KnappHartung.Warnings, "the lines scatter less than their counts would make them; these limits may be too short")
	}
}

// around is an estimate with symmetric limits.
func around(value, half, conf float64, m Method) Estimate {
	return Estimate{Value: value, Low: value - half, High: value + half, Conf: conf, Method: m}
}
