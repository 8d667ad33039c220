package metrics

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// MethodLogisticCluster names limits that allow for clusters.
const MethodLogisticCluster Method = "logistic regression, cluster-robust Wald"

// ClusterCoefficient is a coefficient whose limits allow for clusters.
type ClusterCoefficient struct {
	Coefficient
	// DesignEffect is the squared ratio of the robust to the naive standard
	// error; 1 means that clusters do not matter for this term.
	DesignEffect float64
	// SENaive is the standard error without clusters, SEUncorrected the robust
	// one without the factor k / (k - 1).
	SENaive, SEUncorrected float64
}

// ClusterLimits returns every coefficient with limits that allow calls about
// the same animal, or from the same practice, to resemble each other: the
// sandwich covariance
//
//	k/(k-1) * A^-1 (sum over clusters of u u') A^-1
//
// with A the information, u a cluster's summed score and k clusters. Limits use
// Student's t with k - 1 degrees of freedom.
//
// cluster[i] is the cluster of pattern i of the fit, so a combination of
// covariates that occurs in two clusters must be two patterns; the numbers have
// no meaning beyond being equal or not. Below ten clusters a warning says that
// limits are likely too short. A model that was not estimable, a penalised
// one, or fewer than two clusters gives coefficients that are not estimable. It
// returns an error wrapping ErrArgument for a list of another length than the
// patterns or a conf outside (0, 1).
//
// Also called Huber-White or sandwich limits. Source: Liang & Zeger (1986)
// Biometrika 73:13-22, independence working correlation; factor k/(k-1) as in
// Zeileis, Koell & Graham (2020) J Stat Softw 95(1), HC0.
func (f LogisticFit) ClusterLimits(cluster []int64, conf float64) ([]ClusterCoefficient, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	if len(cluster) != f.patterns {
		return nil, argErr("%d clusters for %d patterns, expected as many", len(cluster), f.patterns)
	}
	if f.NotEstimable != "" {
		return f.clustersWithout(conf, f.NotEstimable), nil
	}
	at := map[int64]int{} // cluster to its place in scores
	var scores [][]float64
	for row, i := range f.design.source {
		place, seen := at[cluster[i]]
		if !seen {
			place = len(scores)
			at[cluster[i]] = place
			scores = append(scores, make([]float64, len(f.coef)))
		}
		x := f.design.x[row]
		surplus := f.design.s[row] - f.design.n[row]*logistic(floats.Dot(x, f.coef))
		floats.AddScaled(scores[place], surplus, x)
	}
	k := float64(len(scores))
	switch {
	case f.Penalised:
		return f.clustersWithout(conf, "no cluster-robust limits for a penalised fit"), nil
	case k < 2:
		return f.clustersWithout(conf, "all calls come from one cluster"), nil
	}
	plain := f.sandwich(scores)
	robust := make([]float64, len(plain))
	floats.ScaleTo(robust, math.Sqrt(k/(k-1)), plain)
	t := distuv.StudentsT{Sigma: 1, Nu: k - 1}
	table := f.waldFrom(robust, conf, MethodLogisticCluster, twoSidedT(conf, k-1),
		func(z float64) float64 { return 2 * t.Survival(math.Abs(z)) })
	out := make([]ClusterCoefficient, len(table))
	for j, c := range table {
		if k < fewClusters {
			w := fmt.Sprintf("only %.0f clusters: the limits may be too narrow", k)
			c.LogOdds.Warnings, c.OddsRatio.Warnings = []string{w}, []string{w}
		}
		out[j] = ClusterCoefficient{Coefficient: c, SENaive: f.SE[j], SEUncorrected: plain[j],
			DesignEffect: (robust[j] / f.SE[j]) * (robust[j] / f.SE[j])}
	}
	return out, nil
}

// sandwich returns the robust standard errors without small-sample factor, on
// the caller's scale.
func (f LogisticFit) sandwich(scores [][]float64) []float64 {
	k := len(f.coef)
	meat := mat.NewSymDense(k, nil)
	for _, u := range scores {
		meat.SymRankOne(meat, 1, mat.NewVecDense(k, u))
	}
	se := make([]float64, k)
	for j := range se {
		// Row j of the inverse information, from the caller's covariance.
		a := make([]float64, k)
		for i := range a {
			a[i] = f.Cov[j][i] * f.design.scale[i]
		}
		v := mat.NewVecDense(k, a)
		se[j] = math.Sqrt(mat.Inner(v, meat, v))
	}
	return se
}

func (f LogisticFit) clustersWithout(conf float64, reason string) []ClusterCoefficient {
	var out []ClusterCoefficient
	for _, c := range f.withoutLimits(conf, MethodLogisticCluster, reason) {
		out = append(out, ClusterCoefficient{Coefficient: c})
	}
	return out
}
