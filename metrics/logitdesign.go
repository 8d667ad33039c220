package metrics

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// logitDesign is the numerical core of the logistic models: one row a pattern
// with trials, a constant in column 0, every column scaled to root mean square
// 1 so that grams and years weigh alike in tolerances.
type logitDesign struct {
	x      [][]float64
	s, n   []float64 // successes and trials
	offset []float64 // added to the linear predictor; nil for none
	scale  []float64 // coefficient of the caller = coefficient here / scale
	// source[i] is the caller's index of row i.
	source []int
	// aliased is the first column that the columns before it determine, or -1.
	aliased int
}

// newLogitDesign checks the patterns and lays out the rows.
func newLogitDesign(covariates int, patterns []Pattern) (*logitDesign, error) {
	d := &logitDesign{scale: make([]float64, covariates+1)}
	for i, p := range patterns {
		if len(p.X) != covariates {
			return nil, argErr("pattern %d: %d covariates, expected %d", i+1, len(p.X), covariates)
		}
		if p.Trials < 0 || p.Successes < 0 || p.Successes > p.Trials {
			return nil, argErr("pattern %d: %d of %d, expected 0 to all of the trials", i+1, p.Successes, p.Trials)
		}
		row := append([]float64{1}, p.X...)
		for j, v := range row {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return nil, argErr("pattern %d: covariate %d is %v, expected a finite number", i+1, j, v)
			}
		}
		if p.Trials == 0 {
			continue
		}
		d.x = append(d.x, row)
		d.s = append(d.s, float64(p.Successes))
		d.n = append(d.n, float64(p.Trials))
		d.source = append(d.source, i)
	}
	d.rescale()
	d.aliased = d.firstAliased()
	return d, nil
}

func (d *logitDesign) rescale() {
	for j := range d.scale {
		sum := 0.0
		for _, row := range d.x {
			sum += row[j] * row[j]
		}
		d.scale[j] = 1
		if sum > 0 {
			d.scale[j] = math.Sqrt(sum / float64(len(d.x)))
		}
		for _, row := range d.x {
			row[j] /= d.scale[j]
		}
	}
}

// firstAliased runs Gram-Schmidt over the columns.
func (d *logitDesign) firstAliased() int {
	var basis [][]float64
	for j := range d.scale {
		col := make([]float64, len(d.x))
		for i, row := range d.x {
			col[i] = row[j]
		}
		before := floats.Norm(col, 2)
		for range 2 { // the second pass removes what rounding left
			for _, b := range basis {
				proj := floats.Dot(col, b)
				for i := range col {
					col[i] -= proj * b[i]
				}
			}
		}
		after := floats.Norm(col, 2)
		if after <= 1e-9*before {
			return j
		}
		for i := range col {
			col[i] /= after
		}
		basis = append(basis, col)
	}
	return -1
}

// logitState is the likelihood and its derivatives at one point.
type logitState struct {
	ll    float64
	score []float64
	// curvature is the information of the likelihood that is climbed; under
	// Firth's penalty that of the calls with half of each row's leverage added
	// to its successes and half to its failures, which has the same score.
	curvature *mat.SymDense
}

// at evaluates the model. With firth the likelihood carries Firth's penalty. It
// is not ok where the information has become singular.
func (d *logitDesign) at(beta []float64, firth bool) (logitState, bool) {
	k := len(beta)
	st := logitState{score: make([]float64, k)}
	weight := make([]float64, len(d.x)) // p (1 - p)
	trials := slices.Clone(d.n)
	surplus := make([]float64, len(d.x)) // successes beyond expectation
	for i, row := range d.x {
		eta := floats.Dot(row, beta)
		if d.offset != nil {
			eta += d.offset[i]
		}
		p := logistic(eta)
		weight[i] = p * (1 - p)
		surplus[i] = d.s[i] - d.n[i]*p
		st.ll += d.s[i]*eta - d.n[i]*softplus(eta)
	}
	if firth {
		logDet, leverage, ok := d.leverages(weight)
		if !ok {
			return st, false
		}
		st.ll += logDet / 2
		for i, h := range leverage {
			p := (d.s[i] - surplus[i]) / d.n[i]
			surplus[i] += h * (0.5 - p)
			trials[i] += h
		}
	}
	for i, row := range d.x {
		floats.AddScaled(st.score, surplus[i], row)
	}
	st.curvature = d.information(weight, trials)
	return st, !math.IsNaN(st.ll)
}

// information is the sum of trials * weight * row row'.
func (d *logitDesign) information(weight, trials []float64) *mat.SymDense {
	k := len(d.scale)
	info := mat.NewSymDense(k, nil)
	for i, row := range d.x {
		w := trials[i] * weight[i]
		for a := range k {
			for b := a; b < k; b++ {
				info.SetSym(a, b, info.At(a, b)+w*row[a]*row[b])
			}
		}
	}
	return info
}

// leverages returns the log determinant of the information and each row's
// leverage, the diagonal of the weighted hat matrix.
func (d *logitDesign) leverages(weight []float64) (logDet float64, leverage []float64, ok bool) {
	var chol mat.Cholesky
	if !chol.Factorize(d.information(weight, d.n)) {
		return 0, nil, false
	}
	var inv mat.SymDense
	if chol.InverseTo(&inv) != nil {
		return 0, nil, false
	}
	leverage = make([]float64, len(d.x))
	for i, row := range d.x {
		v := mat.NewVecDense(len(row), row)
		leverage[i] = d.n[i] * weight[i] * mat.Inner(v, &inv, v)
	}
	return chol.LogDet(), leverage, true
}

// maximise climbs from beta over the free coordinates by Newton's method with
// halved steps and leaves the maximum in beta. It is not ok when it does not
// settle.
func (d *logitDesign) maximise(beta []float64, free func(j int) bool, firth bool) (ll float64, ok bool) {
	var at []int
	for j := range beta {
		if free(j) {
			at = append(at, j)
		}
	}
	cur, ok := d.at(beta, firth)
	if !ok || len(at) == 0 {
		return cur.ll, ok
	}
	// Once a step promises less than the likelihood's own rounding, a few more
	// full steps polish the coefficients.
	const settled, polish, iterations = 1e-12, 6, 200
	polished := 0
	for range iterations {
		step, gain, ok := newtonStep(cur, at)
		if !ok {
			return cur.ll, false
		}
		if polished == polish || gain < 1e-26 {
			return cur.ll, true
		}
		if gain < settled*(1+math.Abs(cur.ll)) {
			polished++
			for i, j := range at {
				beta[j] += step[i]
			}
			if cur, ok = d.at(beta, firth); !ok {
				return cur.ll, false
			}
			continue
		}
		if cur, ok = d.climb(beta, at, step, cur, firth); !ok {
			return cur.ll, false
		}
	}
	return cur.ll, polished > 0
}

// climb tries the full step and then ever shorter ones, and moves beta to the
// first point that is higher. It is not ok when there is none.
func (d *logitDesign) climb(beta []float64, at []int, step []float64, cur logitState, firth bool) (logitState, bool) {
	trial := make([]float64, len(beta))
	for t := 1.0; t > 1e-8; t /= 2 {
		copy(trial, beta)
		for i, j := range at {
			trial[j] += t * step[i]
		}
		if next, ok := d.at(trial, firth); ok && next.ll > cur.ll {
			copy(beta, trial)
			return next, true
		}
	}
	return cur, false
}

// newtonStep solves for the step over the free coordinates; gain is the rise it
// promises. Where the likelihood is too flat to invert its curvature, a growing
// ridge turns the step towards the steepest climb.
func newtonStep(st logitState, at []int) (step []float64, gain float64, ok bool) {
	sub := mat.NewSymDense(len(at), nil)
	score := mat.NewVecDense(len(at), nil)
	for i, a := range at {
		score.SetVec(i, st.score[a])
		for j := i; j < len(at); j++ {
			sub.SetSym(i, j, st.curvature.At(a, at[j]))
		}
	}
	var chol mat.Cholesky
	ridge := 1e-10 * (mat.Trace(sub) + 1e-10)
	for !chol.Factorize(sub) || chol.Cond() > 1e14 {
		if ridge > 1e10 || math.IsNaN(ridge) {
			return nil, 0, false
		}
		for i := range at {
			sub.SetSym(i, i, sub.At(i, i)+ridge)
		}
		ridge *= 100
	}
	var delta mat.VecDense
	if err := chol.SolveVecTo(&delta, score); err != nil {
		return nil, 0, false
	}
	return delta.RawVector().Data, mat.Dot(&delta, score) / 2, true
}

// covariance inverts the (unpenalised) information at beta, on the design's
// scale.
func (d *logitDesign) covariance(beta []float64) (*mat.SymDense, bool) {
	st, ok := d.at(beta, false)
	var chol mat.Cholesky
	if !ok || !chol.Factorize(st.curvature) {
		return nil, false
	}
	var cov mat.SymDense
	return &cov, chol.InverseTo(&cov) == nil
}

// softplus is log(1 + exp(x)) without overflow.
func softplus(x float64) float64 {
	return math.Max(x, 0) + math.Log1p(math.Exp(-math.Abs(x)))
}
