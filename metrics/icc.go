package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// MethodICC names the limits of an intraclass correlation.
const MethodICC Method = "intraclass correlation, limits by F (Shrout-Fleiss)"

// ICCForm is one of the six forms of Shrout and Fleiss. Which is right depends
// on how readers were assigned and on what will be used later, not on the data.
type ICCForm int

// The forms of Shrout and Fleiss: one, two and three, for one reading or k.
const (
	// ICC11: each animal has readers of its own; one reading is used later.
	ICC11 ICCForm = iota + 1
	// ICC21: the same readers, a sample of those to come; one reading is used.
	// A reader who always reads high counts as disagreement.
	ICC21
	// ICC31: these readers only; one reading is used. A constant shift between
	// readers is forgiven.
	ICC31
	// ICC1k, ICC2k and ICC3k: the same for the mean of all k readings.
	ICC1k
	ICC2k
	ICC3k
)

// IntraclassCorrelation estimates the share of the variance of a numeric
// reading that lies between animals.
//
// ratings[i][j] is the reading of animal i by reader j, in one unit, without
// gaps; each row has the same number of readers, 2 or more. Limits are those of
// Shrout and Fleiss; of ICC2k they are the limits of ICC21 carried over by the
// Spearman-Brown formula (other limits are in use for this form). Values below
// 0 occur where animals differ less than chance; the forms of a mean have no
// lower bound, and a limit that does not exist is marked unbounded. Fewer than
// 2 animals, or readings that are all equal, are not estimable; perfect
// agreement carries a warning instead of width. ErrArgument: rows of unequal
// length, fewer than 2 readers, a reading that is not finite, an unknown form,
// or conf outside (0, 1).
//
// Source: Shrout & Fleiss (1979) Psychol Bull 86:420-428; McGraw & Wong (1996)
// Psychol Methods 1:30-46.
func IntraclassCorrelation(ratings [][]float64, form ICCForm, conf float64) (Estimate, error) {
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	if form < ICC11 || form > ICC3k {
		return Estimate{}, argErr("form %d of the intraclass correlation, expected ICC11 to ICC3k", int(form))
	}
	for i, row := range ratings {
		if len(row) != len(ratings[0]) || len(row) < 2 {
			return Estimate{}, argErr("animal %d has %d readings, expected the same number for all, 2 or more", i+1, len(row))
		}
		for j, v := range row {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return Estimate{}, argErr("reading %d of animal %d is %v, expected a finite number", j+1, i+1, v)
			}
		}
	}
	if len(ratings) < 2 {
		return notEstimable(conf, MethodICC, "%d animals were read, at least 2 are needed", len(ratings)), nil
	}
	a := newReaderVariance(ratings)
	if a.between+a.within == 0 {
		return notEstimable(conf, MethodICC, "all readings are equal"), nil
	}
	value, low, high := a.form(form, conf)
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return notEstimable(conf, MethodICC, "the animals do not differ beyond the readers, so the form has no value"), nil
	}
	return a.estimate(value, low, high, conf), nil
}

// readerVariance holds the mean squares of a two-way layout.
type readerVariance struct {
	n, k                              float64
	between, within, readers, residue float64
}

func newReaderVariance(x [][]float64) readerVariance {
	a := readerVariance{n: float64(len(x)), k: float64(len(x[0]))}
	grand := 0.0
	rows, cols := make([]float64, len(x)), make([]float64, len(x[0]))
	for i := range x {
		for j, v := range x[i] {
			grand += v / (a.n * a.k)
			rows[i] += v / a.k
			cols[j] += v / a.n
		}
	}
	for i := range x {
		a.between += a.k * (rows[i] - grand) * (rows[i] - grand) / (a.n - 1)
		for j, v := range x[i] {
			a.within += (v - rows[i]) * (v - rows[i]) / (a.n * (a.k - 1))
			e := v - rows[i] - cols[j] + grand
			a.residue += e * e / ((a.n - 1) * (a.k - 1))
		}
	}
	for _, c := range cols {
		a.readers += a.n * (c - grand) * (c - grand) / (a.k - 1)
	}
	// A mean square that is nothing but rounding is 0.
	total := a.between + a.within + a.readers + a.residue
	for _, ms := range []*float64{&a.between, &a.within, &a.readers, &a.residue} {
		if *ms < 1e-14*total {
			*ms = 0
		}
	}
	return a
}

// form gives value and limits; either may be infinite or not a number.
func (a readerVariance) form(form ICCForm, conf float64) (value, low, high float64) {
	k := a.k
	single := func(f float64) float64 {
		if math.IsInf(f, 1) {
			return 1
		}
		return (f - 1) / (f + k - 1)
	}
	mean := func(f float64) float64 { return 1 - 1/f }
	spearmanBrown := func(r float64) float64 {
		if d := 1 + (k-1)*r; d > 0 {
			return k * r / d
		}
		return math.Inf(-1)
	}
	one, oneLow, oneHigh := a.fLimits(a.within, a.n*(k-1), conf)
	two, twoLow, twoHigh := a.fLimits(a.residue, (a.n-1)*(k-1), conf)
	switch form {
	case ICC11:
		return single(one), single(oneLow), single(oneHigh)
	case ICC1k:
		return mean(one), mean(oneLow), mean(oneHigh)
	case ICC31:
		return single(two), single(twoLow), single(twoHigh)
	case ICC3k:
		return mean(two), mean(twoLow), mean(twoHigh)
	case ICC21:
		return a.agreement(conf)
	}
	below := a.between + (a.readers-a.residue)/a.n
	if below <= 1e-12*a.residue {
		return math.NaN(), math.NaN(), math.NaN()
	}
	_, low, high = a.agreement(conf)
	return (a.between - a.residue) / below, spearmanBrown(low), spearmanBrown(high)
}

// fLimits is the ratio of the animals' mean square to another, with limits.
func (a readerVariance) fLimits(ms, df, conf float64) (f, low, high float64) {
	p := (1 + conf) / 2
	f = a.between / ms
	return f, f / distuv.F{D1: a.n - 1, D2: df}.Quantile(p), f * distuv.F{D1: df, D2: a.n - 1}.Quantile(p)
}

// agreement is ICC21 with the limits by an approximate number of degrees of
// freedom.
func (a readerVariance) agreement(conf float64) (value, low, high float64) {
	n, k, b, j, e := a.n, a.k, a.between, a.readers, a.residue
	value = (b - e) / (b + (k-1)*e + k*(j-e)/n)
	if e == 0 && j == 0 {
		return value, value, value
	}
	// The published degrees of freedom, multiplied through by e squared, so
	// that readers without residual variance do not divide by 0.
	u, v := k*value*j, (n*(1+(k-1)*value)-k*value)*e
	df := (k - 1) * (n - 1) * (u + v) * (u + v) / ((n-1)*u*u + v*v)
	if !(df > 0) {
		return value, math.NaN(), math.NaN()
	}
	p := (1 + conf) / 2
	f := distuv.F{D1: n - 1, D2: df}.Quantile(p)
	g := distuv.F{D1: df, D2: n - 1}.Quantile(p)
	rest := k*j + (k*n-k-n)*e
	return value, n * (b - f*e) / (f*rest + n*b), n * (g*b - e) / (rest + n*g*b)
}

// estimate dresses value and limits; a limit that is not finite is unbounded.
func (a readerVariance) estimate(value, low, high, conf float64) Estimate {
	e := Estimate{Value: value, Low: math.Min(low, value), High: math.Min(1, math.Max(high, value)),
		Conf: conf, Method: MethodICC, Denominator: a.n}
	if math.IsNaN(low) || math.IsInf(low, 0) {
		e.Low, e.LowUnbounded = 0, true
	}
	if math.IsNaN(high) || math.IsInf(high, 0) {
		e.High, e.HighUnbounded = 0, true
	}
	if value == 1 {
		e.Low, e.High, e.LowUnbounded, e.HighUnbounded = 1, 1, false, false
		e.Warnings = append(e.Warnings, "the readings agree perfectly, so the limits have no width")
	}
	return e
}
