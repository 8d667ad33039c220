package metrics

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// ChiSquare is the result of a chi-square test. With NotEstimable set the
// numbers are 0 and mean nothing.
type ChiSquare struct {
	// Statistic is the test's value, DF its degrees of freedom.
	Statistic float64
	DF        int
	// P is the upper tail probability.
	P float64
	// NotEstimable is empty, or says why there is no test.
	NotEstimable string
}

// chiSquare fills a result from the statistic.
func chiSquare(statistic float64, df int) ChiSquare {
	return ChiSquare{Statistic: statistic, DF: df, P: distuv.ChiSquared{K: float64(df)}.Survival(statistic)}
}

// StuartMaxwell tests whether two sets of levels for the same calls have the
// same margins: does one side (say the advice) use the levels in other
// proportions than the other (the vets)? A systematic shift shows here and not
// in kappa. The statistic is d' V^-1 d, with d the differences of the margins
// and V their covariance estimated under homogeneity.
//
// table[i][j] counts calls of level i by one side and j by the other. Levels
// that are never confused, directly or through others, carry no information on
// each other: the test runs within each connected group, and the degrees of
// freedom are the levels less the groups (k - 1 when all hang together, as in
// textbooks). Without any disagreement there is no test. ErrArgument as for
// CohenKappa.
//
// Source: Stuart (1955) Biometrika 42:412-416; Maxwell (1970) Br J Psychiatry
// 116:651-655.
func StuartMaxwell(table [][]int64) (ChiSquare, error) {
	if err := checkSquareCounts(table); err != nil {
		return ChiSquare{}, err
	}
	keep := marginContrasts(table)
	if len(keep) == 0 {
		return ChiSquare{NotEstimable: "the two sides never disagree"}, nil
	}
	d := mat.NewVecDense(len(keep), nil)
	v := mat.NewSymDense(len(keep), nil)
	for a, i := range keep {
		var off int64
		for j := range table {
			if j != i {
				off += table[i][j] + table[j][i]
				d.SetVec(a, d.AtVec(a)+float64(table[i][j]-table[j][i]))
			}
		}
		v.SetSym(a, a, float64(off))
		for b := a + 1; b < len(keep); b++ {
			j := keep[b]
			v.SetSym(a, b, -float64(table[i][j]+table[j][i]))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(v) {
		return ChiSquare{NotEstimable: "the covariance of the margins cannot be inverted"}, nil
	}
	x := mat.NewVecDense(len(keep), nil)
	if err := chol.SolveVecTo(x, d); err != nil {
		return ChiSquare{NotEstimable: "the covariance of the margins cannot be inverted"}, nil
	}
	return chiSquare(mat.Dot(d, x), len(keep)), nil
}

// Bhapkar tests marginal homogeneity as StuartMaxwell does, but with the
// covariance of the differences estimated without assuming homogeneity, which
// makes it the more powerful of the two; both agree in large samples. With
// W the Stuart-Maxwell statistic of n calls, the value is W / (1 - W/n). Where
// every call moved so that W reaches n there is no finite value, and no test.
//
// Source: Bhapkar (1966) J Am Stat Assoc 61:228-235; the relation to W is of
// Keefe (1982) Biometrika 69:683-684.
func Bhapkar(table [][]int64) (ChiSquare, error) {
	sm, err := StuartMaxwell(table)
	if err != nil || sm.NotEstimable != "" {
		return sm, err
	}
	var n int64
	for _, row := range table {
		for _, c := range row {
			n += c
		}
	}
	rest := 1 - sm.Statistic/float64(n)
	if rest < 1e-12 {
		return ChiSquare{NotEstimable: "every call moved the same way: the statistic has no finite value"}, nil
	}
	return chiSquare(sm.Statistic/rest, sm.DF), nil
}

// Bowker tests symmetry, which is more than equal margins: is every pair of
// levels confused as often one way as the other? The statistic is the sum of
// (n_ij - n_ji)^2 / (n_ij + n_ji) over pairs. Pairs that never occur are left
// out and cost no degree of freedom (DF counts the pairs seen). For two levels
// it is McNemar's chi-square.
//
// Source: Bowker (1948) J Am Stat Assoc 43:572-574.
func Bowker(table [][]int64) (ChiSquare, error) {
	if err := checkSquareCounts(table); err != nil {
		return ChiSquare{}, err
	}
	sum, pairs := 0.0, 0
	for i := range table {
		for j := i + 1; j < len(table); j++ {
			both := float64(table[i][j] + table[j][i])
			if both > 0 {
				diff := float64(table[i][j] - table[j][i])
				sum += diff * diff / both
				pairs++
			}
		}
	}
	if pairs == 0 {
		return ChiSquare{NotEstimable: "the two sides never disagree"}, nil
	}
	return chiSquare(sum, pairs), nil
}

// marginContrasts returns the levels whose margin differences are to be
// tested: all but the first of each connected group of levels. V is the
// Laplacian of the graph of confusions, so what remains can be inverted.
func marginContrasts(table [][]int64) []int {
	var keep []int
	seen := make([]bool, len(table))
	for start := range table {
		if seen[start] {
			continue
		}
		seen[start] = true
		for queue := []int{start}; len(queue) > 0; queue = queue[1:] {
			i := queue[0]
			for j := range table {
				if !seen[j] && table[i][j]+table[j][i] > 0 {
					seen[j] = true
					keep = append(keep, j)
					queue = append(queue, j)
				}
			}
		}
	}
	return keep
}
