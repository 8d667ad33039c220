package metrics

import "math"

// Methods of the limits of a chance-corrected agreement between two readers.
const (
	MethodKappa Method = "kappa, large-sample limits (Fleiss-Cohen-Everitt)"
	// MethodKappaExact is used where the large-sample limits have no width.
	MethodKappaExact Method = "kappa, Clopper-Pearson limits of the agreement, margins held"
)

// Kappa is a chance-corrected agreement of two readers with what it is made
// of. A low kappa at a rare sign says little; read AgreementIndices with it.
type Kappa struct {
	Estimate
	// Observed and Expected are the (weighted) agreement seen, and that of
	// two readers with the same margins who read independently.
	Observed, Expected float64
	// SE is the standard error behind the limits. SENull is that under
	// independence: for the test only, never for limits.
	SE, SENull float64
	// Z and P test kappa = 0, two-sided; both are 0 if TestNotEstimable says
	// why there is no test.
	Z, P             float64
	TestNotEstimable string
}

// IdentityWeights are the weights of plain kappa: full credit for the same
// category, none otherwise.
func IdentityWeights(k int) [][]float64 {
	return distanceWeights(k, func(d float64) float64 {
		if d == 0 {
			return 1
		}
		return 0
	})
}

// LinearWeights give 1 - |i-j| / (k-1): each level of distance costs the same.
func LinearWeights(k int) [][]float64 {
	return distanceWeights(k, func(d float64) float64 { return 1 - d })
}

// QuadraticWeights give 1 - (i-j)^2 / (k-1)^2: far misses cost much more. The
// resulting kappa comes close to an intraclass correlation.
func QuadraticWeights(k int) [][]float64 {
	return distanceWeights(k, func(d float64) float64 { return 1 - d*d })
}

// distanceWeights fills a k x k matrix from |i-j| / (k-1).
func distanceWeights(k int, f func(distance float64) float64) [][]float64 {
	w := make([][]float64, max(k, 0))
	for i := range w {
		w[i] = make([]float64, k)
		for j := range w[i] {
			if i == j {
				w[i][j] = 1
			} else {
				w[i][j] = f(math.Abs(float64(i-j)) / float64(k-1))
			}
		}
	}
	return w
}

// CohenKappa estimates how far two readers of the same animals agree beyond
// chance: (po - pe) / (1 - pe), po the share in the same category and pe the
// sum of the products of the margins.
//
// table[i][j] counts animals that reader 1 put in category i and reader 2 in
// j. Limits are kappa +- z SE, clipped to [-1, 1]; where SE is 0 (complete
// agreement) they come from the exact limits of po with pe held, since limits
// without width would flatter. Fewer than 2 animals, or both readers using a
// single category throughout, is not estimable: neither 1 nor 0. It returns
// ErrArgument for a table that is not square or has fewer than two categories,
// a negative count, or a conf outside (0, 1).
//
// Source: Cohen (1960) Educ Psychol Meas 20:37-46; standard errors of Fleiss,
// Cohen & Everitt (1969) Psychol Bull 72:323-327.
func CohenKappa(table [][]int64, conf float64) (Kappa, error) {
	return WeightedKappa(table, IdentityWeights(len(table)), conf)
}

// WeightedKappa is CohenKappa with credit weights[i][j] for the pair of
// categories i and j: LinearWeights, QuadraticWeights, or a table of the
// user's own, which need not depend on |i-j| alone. Always state which.
//
// Weights lie in [0, 1] with 1 on the diagonal; disagreement weights d turn
// into 1 - d/max(d). An empty row or column keeps its place, so that the
// distances stand. Everything else is as for CohenKappa; weights of the wrong
// shape or range are ErrArgument.
//
// Source: Cohen (1968) Psychol Bull 70:213-220; Fleiss, Cohen & Everitt
// (1969) Psychol Bull 72:323-327.
func WeightedKappa(table [][]int64, weights [][]float64, conf float64) (Kappa, error) {
	if err := checkSquareCounts(table); err != nil {
		return Kappa{}, err
	}
	if err := checkAgreementWeights(weights, len(table)); err != nil {
		return Kappa{}, err
	}
	if err := checkConf(conf); err != nil {
		return Kappa{}, err
	}
	t := newAgreementTable(table, weights)
	if t.n < 2 {
		return kappaMissing(conf, "%v animals read twice, at least 2 are needed", t.n), nil
	}
	if t.pe >= 1-1e-15 {
		return kappaMissing(conf, "the readers leave nothing to disagree about: all in one category"), nil
	}
	k := Kappa{Observed: t.po, Expected: t.pe}
	k.Estimate = Estimate{
		Value: clampUnit((t.po - t.pe) / (1 - t.pe)), Conf: conf, Method: MethodKappa, Denominator: t.n,
	}
	k.SE, k.SENull = t.standardErrors(k.Value)
	if k.SE > 1e-9 {
		z := twoSidedZ(conf)
		k.Low, k.High = clampUnit(k.Value-z*k.SE), clampUnit(k.Value+z*k.SE)
	} else {
		k.SE = 0
		low, high := clopperPearsonLimits(t.po*t.n, t.n, conf)
		k.Method = MethodKappaExact
		k.Low = clampUnit(math.Min(k.Value, (low-t.pe)/(1-t.pe)))
		k.High = clampUnit(math.Max(k.Value, (high-t.pe)/(1-t.pe)))
		k.Warnings = append(k.Warnings, "the large-sample standard error is 0; limits are those of the agreement with the margins held")
	}
	if k.SENull > 1e-9 {
		k.Z = k.Value / k.SENull
		k.P = math.Erfc(math.Abs(k.Z) / math.Sqrt2)
	} else {
		k.TestNotEstimable = "a reader used one category throughout, so there is nothing to test"
	}
	return k, nil
}

func kappaMissing(conf float64, format string, args ...any) Kappa {
	e := notEstimable(conf, MethodKappa, format, args...)
	return Kappa{Estimate: e, TestNotEstimable: e.NotEstimable}
}

func checkAgreementWeights(w [][]float64, k int) error {
	if len(w) != k {
		return argErr("weights have %d rows for %d categories", len(w), k)
	}
	for i, row := range w {
		if len(row) != k {
			return argErr("weights row %d has %d entries for %d categories", i+1, len(row), k)
		}
		for j, v := range row {
			if !(v >= 0 && v <= 1) || (i == j && v != 1) {
				return argErr("weight %v in row %d, column %d, expected 0 to 1 with 1 on the diagonal", v, i+1, j+1)
			}
		}
	}
	return nil
}

// agreementTable holds a table as shares with its margins and weights.
type agreementTable struct {
	n, po, pe  float64
	p, w       [][]float64
	rows, cols []float64
	// wr[i] and wc[j] are the mean weights of a row and of a column.
	wr, wc []float64
}

func newAgreementTable(table [][]int64, w [][]float64) agreementTable {
	k := len(table)
	t := agreementTable{
		w: w, p: make([][]float64, k), rows: make([]float64, k), cols: make([]float64, k),
		wr: make([]float64, k), wc: make([]float64, k),
	}
	for _, row := range table {
		for _, c := range row {
			t.n += float64(c)
		}
	}
	for i, row := range table {
		t.p[i] = make([]float64, k)
		for j, c := range row {
			if t.n > 0 {
				t.p[i][j] = float64(c) / t.n
			}
			t.rows[i] += t.p[i][j]
			t.cols[j] += t.p[i][j]
			t.po += w[i][j] * t.p[i][j]
		}
	}
	for i := range w {
		for j := range w {
			t.pe += w[i][j] * t.rows[i] * t.cols[j]
			t.wr[i] += w[i][j] * t.cols[j]
			t.wc[j] += w[i][j] * t.rows[i]
		}
	}
	return t
}

// standardErrors returns the standard error for limits, and that under
// independence for the test.
func (t agreementTable) standardErrors(kappa float64) (se, seNull float64) {
	// Variances are taken around their means, which the published formulas
	// subtract at the end; this keeps digits when kappa is near 1.
	mean := kappa - t.pe*(1-kappa)
	var v, v0 float64
	for i := range t.p {
		for j := range t.p {
			theta := t.wr[i] + t.wc[j]
			d := t.w[i][j] - theta*(1-kappa) - mean
			v += t.p[i][j] * d * d
			d0 := t.w[i][j] - theta + t.pe
			v0 += t.rows[i] * t.cols[j] * d0 * d0
		}
	}
	scale := 1 / (math.Sqrt(t.n) * (1 - t.pe))
	return math.Sqrt(v) * scale, math.Sqrt(v0) * scale
}
