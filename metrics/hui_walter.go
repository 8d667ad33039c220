package metrics

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// MethodHuiWalter names the estimates of HuiWalter.
const MethodHuiWalter Method = "Hui-Walter, closed-form maximum likelihood, delta method"

// TwoTests counts the animals of one population by the results of two tests.
type TwoTests struct {
	// Both tests positive, only the first, only the second, neither.
	Both, First, Second, Neither int64
}

func (t TwoTests) total() int64 { return t.Both + t.First + t.Second + t.Neither }

// LatentAccuracy is the accuracy of two tests and the prevalence in two
// populations where nobody knows the truth. SE has the standard errors in the
// order of the fields before it; they mean nothing where those are not estimable.
type LatentAccuracy struct {
	Sensitivity1, Sensitivity2 Estimate
	Specificity1, Specificity2 Estimate
	Prevalence1, Prevalence2   Estimate
	SE                         [6]float64
}

// HuiWalter estimates the sensitivities and specificities of two tests used on
// the same animals in two populations of different prevalence, without a
// reference.
//
// Six parameters meet six free cells, so the maximum likelihood fits exactly: the
// differences between populations in each test's positives and the covariance of
// the tests within each population give a closed form. Of the two mirror solutions
// that with sensitivity + specificity > 1 is kept. Limits are by the delta method
// on the logit scale.
//
// It assumes that test errors are unrelated given the truth and the same in both
// populations, and that prevalences differ. If a test's share of positives does
// not differ between populations at confidence conf, or the tests point opposite
// ways, or a solution leaves [0, 1], nothing is estimable and every field says
// why. Errors wrap ErrArgument: negative counts, conf outside (0, 1).
//
// Source: Hui, Walter (1980) Biometrics 36:167-171.
func HuiWalter(pop1, pop2 TwoTests, conf float64) (LatentAccuracy, error) {
	if err := checkConf(conf); err != nil {
		return LatentAccuracy{}, err
	}
	for _, p := range []TwoTests{pop1, pop2} {
		if min(p.Both, p.First, p.Second, p.Neither) < 0 {
			return LatentAccuracy{}, argErr("two-test counts %+v, expected 0 or more", p)
		}
	}
	refuse := func(reason string) (LatentAccuracy, error) {
		e := notEstimable(conf, MethodHuiWalter, "%s", reason)
		return LatentAccuracy{e, e, e, e, e, e, [6]float64{}}, nil
	}
	if pop1.total() == 0 || pop2.total() == 0 {
		return refuse("a population is empty")
	}
	if !positivesDiffer(pop1, pop2, conf) {
		return refuse("the two populations cannot be told apart, so any answer fits as well as another")
	}
	theta, ok := huiWalterSolve(pop1, pop2)
	if !ok {
		return refuse("no sensitivities, specificities and prevalences within 0 to 1 fit both populations")
	}
	se, ok := huiWalterSE(theta, float64(pop1.total()), float64(pop2.total()))
	if !ok {
		return refuse("the solution lies where its precision cannot be told")
	}
	out := LatentAccuracy{SE: se}
	for i, e := range []*Estimate{&out.Sensitivity1, &out.Sensitivity2, &out.Specificity1, &out.Specificity2, &out.Prevalence1, &out.Prevalence2} {
		*e = closedForm(theta[i], se[i]/(theta[i]*(1-theta[i])), 0, 0, conf).Logit
		e.Method = MethodHuiWalter
	}
	return out, nil
}

// positivesDiffer reports whether each test's share of positives differs between
// the populations, by the limits of the difference.
func positivesDiffer(a, b TwoTests, conf float64) bool {
	for _, x := range [][2]int64{{a.Both + a.First, b.Both + b.First}, {a.Both + a.Second, b.Both + b.Second}} {
		d, err := NewcombeDifference(x[0], a.total(), x[1], b.total(), conf)
		if err != nil || d.Low <= 0 && d.High >= 0 {
			return false
		}
	}
	return true
}

// huiWalterSolve gives sens1, sens2, spec1, spec2, prev1, prev2, all inside (0, 1).
//
// With Youden indexes J1, J2 and D the difference of prevalences, the positives
// differ by D*J1 and D*J2, and the covariance of the tests in a population of
// prevalence v is v(1-v)*J1*J2. Each covariance over the product of the
// differences is v(1-v)/D^2, two equations for two prevalences.
func huiWalterSolve(a, b TwoTests) (theta [6]float64, ok bool) {
	shares := func(t TwoTests) (p, q, c float64) {
		n := float64(t.total())
		p, q = float64(t.Both+t.First)/n, float64(t.Both+t.Second)/n
		return p, q, float64(t.Both)/n - p*q
	}
	p1, q1, c1 := shares(a)
	p2, q2, c2 := shares(b)
	dp, dq := p1-p2, q1-q2
	if dp*dq <= 0 {
		return theta, false // the tests point opposite ways
	}
	r1, r2 := c1/(dp*dq), c2/(dp*dq)
	square := 1 + 2*(r1+r2) + (r1-r2)*(r1-r2)
	if square <= 0 {
		return theta, false
	}
	// The sign of D that makes both Youden indexes positive.
	d := math.Copysign(1/math.Sqrt(square), dp)
	sum := 1 - d*(r1-r2)
	v1, v2 := (sum+d)/2, (sum-d)/2
	j1, j2 := dp/d, dq/d
	spec1, spec2 := 1-p1+v1*j1, 1-q1+v1*j2
	theta = [6]float64{j1 + 1 - spec1, j2 + 1 - spec2, spec1, spec2, v1, v2}
	for _, x := range theta {
		if !(x > 0 && x < 1) {
			return theta, false
		}
	}
	return theta, true
}

// huiWalterSE inverts the expected information of the six parameters.
func huiWalterSE(theta [6]float64, n1, n2 float64) (se [6]float64, ok bool) {
	info := mat.NewSymDense(6, nil)
	for pop, n := range []float64{n1, n2} {
		prev := theta[4+pop]
		for cell := range 4 {
			pos1, pos2 := cell&1 == 0, cell&2 == 0
			f1, g1 := resultProbability(theta[0], theta[2], pos1)
			f2, g2 := resultProbability(theta[1], theta[3], pos2)
			p := prev*f1*f2 + (1-prev)*g1*g2
			sign := func(positive bool) float64 {
				if positive {
					return 1
				}
				return -1
			}
			grad := [6]float64{
				prev * f2 * sign(pos1), prev * f1 * sign(pos2),
				-(1 - prev) * g2 * sign(pos1), -(1 - prev) * g1 * sign(pos2),
			}
			grad[4+pop] = f1*f2 - g1*g2
			for i := range 6 {
				for j := i; j < 6; j++ {
					info.SetSym(i, j, info.At(i, j)+n*grad[i]*grad[j]/p)
				}
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(info) {
		return se, false
	}
	var inv mat.SymDense
	if err := chol.InverseTo(&inv); err != nil {
		return se, false
	}
	for i := range se {
		se[i] = math.Sqrt(inv.At(i, i))
	}
	return se, true
}

// resultProbability is the chance of a result in need (f) and not in need (g).
func resultProbability(sens, spec float64, positive bool) (f, g float64) {
	if positive {
		return sens, 1 - spec
	}
	return 1 - sens, spec
}
