package metrics

import "math"

// Methods of the limits of Bland and Altman.
const (
	MethodBias              Method = "mean difference, Student t"
	MethodLimitsOfAgreement Method = "limits of agreement, Student t with the standard error of a quantile of a normal"
	MethodDifferenceSlope   Method = "slope of difference on mean, least squares, Student t"
)

// ReadingPair counts animals with the same two readings, in one unit.
type ReadingPair struct {
	// First and Second are the two readings (say the owner's and the vet's).
	First, Second float64
	// Animals is how many animals have this pair.
	Animals int64
}

// LimitsOfAgreement says how far two ways of measuring the same thing differ.
// All figures are in the unit of the readings, first minus second.
type LimitsOfAgreement struct {
	// Animals is the number of pairs, SD the standard deviation of the
	// differences (divisor n - 1).
	Animals int64
	SD      float64
	// Bias is the mean difference.
	Bias Estimate
	// Lower and Upper are the limits between which the stated share of
	// differences lies, each with its own confidence limits.
	Lower, Upper Estimate
	// SELimit is the standard error of Lower and of Upper.
	SELimit float64
	// Slope is that of the difference on the mean of the two readings. If its
	// limits leave out 0, the disagreement changes with the size of the
	// reading, and one pair of limits for all sizes misleads.
	Slope Estimate
}

// BlandAltman estimates the bias and the limits of agreement of two ways of
// reading a number: bias +- z s, with z for the share of differences that the
// limits shall hold (0.95 gives 1.96) and s the standard deviation of the
// differences.
//
// pairs counts animals by their two readings, in the same unit, one pair an
// animal. The differences are taken as normal with the same spread at all
// sizes; Slope is a look at the second. A limit's standard error is
// s sqrt(1/n + z^2 / (2 (n-1))), its confidence limits use t with n - 1 degrees
// of freedom. Fewer than 3 animals are not estimable; differences that are all
// equal carry a warning, since their limits have no width. It returns
// ErrArgument for a reading that is not finite, a negative count, or a share or
// conf outside (0, 1).
//
// Source: Bland & Altman (1986) Lancet i:307-310, and (1999) Stat Methods Med
// Res 8:135-160. The 1986 paper uses 2 for z, and sqrt(3/n) s for the standard
// error.
func BlandAltman(pairs []ReadingPair, share, conf float64) (LimitsOfAgreement, error) {
	if err := checkConf(conf); err != nil {
		return LimitsOfAgreement{}, err
	}
	if !(share > 0 && share < 1) {
		return LimitsOfAgreement{}, argErr("share %v inside the limits of agreement, expected a number between 0 and 1", share)
	}
	var l LimitsOfAgreement
	for i, p := range pairs {
		if math.IsNaN(p.First-p.Second) || math.IsInf(p.First, 0) || math.IsInf(p.Second, 0) || p.Animals < 0 {
			return LimitsOfAgreement{}, argErr("pair %d is %v and %v in %d animals, expected finite readings and a count of 0 or more",
				i+1, p.First, p.Second, p.Animals)
		}
		l.Animals += p.Animals
	}
	n := float64(l.Animals)
	if n < 3 {
		few := func(m Method) Estimate {
			return notEstimable(conf, m, "%d animals were read both ways, at least 3 are needed", l.Animals)
		}
		l.Bias, l.Slope = few(MethodBias), few(MethodDifferenceSlope)
		l.Lower, l.Upper = few(MethodLimitsOfAgreement), few(MethodLimitsOfAgreement)
		return l, nil
	}
	d := newDifferences(pairs, n)
	l.SD = math.Sqrt(d.dd / (n - 1))
	t, z := twoSidedT(conf, n-1), twoSidedZ(share)
	around := func(m Method, value, se float64) Estimate {
		e := Estimate{Value: value, Low: value - t*se, High: value + t*se, Conf: conf, Method: m, Denominator: n}
		if l.SD == 0 {
			e.Warnings = []string{"all differences are equal, so the limits have no width"}
		}
		return e
	}
	l.SELimit = l.SD * math.Sqrt(1/n+z*z/(2*(n-1)))
	l.Bias = around(MethodBias, d.mean, l.SD/math.Sqrt(n))
	l.Lower = around(MethodLimitsOfAgreement, d.mean-z*l.SD, l.SELimit)
	l.Upper = around(MethodLimitsOfAgreement, d.mean+z*l.SD, l.SELimit)
	l.Slope = d.slope(n, conf)
	return l, nil
}

// differences holds sums of squares of difference d and mean reading m.
type differences struct{ mean, dd, mm, dm float64 }

func newDifferences(pairs []ReadingPair, n float64) differences {
	var s differences
	level := 0.0
	for _, p := range pairs {
		s.mean += float64(p.Animals) * (p.First - p.Second) / n
		level += float64(p.Animals) * (p.First/2 + p.Second/2) / n
	}
	for _, p := range pairs {
		d := p.First - p.Second - s.mean
		m := p.First/2 + p.Second/2 - level
		s.dd += float64(p.Animals) * d * d
		s.mm += float64(p.Animals) * m * m
		s.dm += float64(p.Animals) * d * m
	}
	return s
}

func (s differences) slope(n, conf float64) Estimate {
	if s.mm == 0 {
		return notEstimable(conf, MethodDifferenceSlope, "all animals have the same mean reading")
	}
	b := s.dm / s.mm
	rest := math.Max(0, s.dd-b*s.dm)
	half := twoSidedT(conf, n-2) * math.Sqrt(rest/(n-2)/s.mm)
	return Estimate{Value: b, Low: b - half, High: b + half, Conf: conf, Method: MethodDifferenceSlope, Denominator: n}
}
