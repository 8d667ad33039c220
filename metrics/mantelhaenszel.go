package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Names of the Mantel-Haenszel limits.
const (
	MethodMantelHaenszelOR Method = "Mantel-Haenszel, Robins-Breslow-Greenland limits"
	MethodMantelHaenszelRR Method = "Mantel-Haenszel, Greenland-Robins limits"
)

// MantelHaenszelResult is a ratio common to several tables.
type MantelHaenszelResult struct {
	// Ratio is the common odds ratio or risk ratio.
	Ratio Estimate
	// LogRatio and SE are its logarithm and the standard error of that; both 0
	// where Ratio is not estimable.
	LogRatio, SE float64
	// ChiSquare (1 degree of freedom, no continuity correction) and P test
	// that the test's mark and need are unrelated in every table. Both are 0
	// and mean nothing unless TestKnown.
	ChiSquare, P float64
	TestKnown    bool
	// Strata is the number of tables with at least one episode.
	Strata int
}

// MantelHaenszelOddsRatio estimates one diagnostic odds ratio for several tables
// (lines, species, age bands), sum(TP TN / n) / sum(FP FN / n). It stays usable
// with many thin tables, where pooling logarithms does not, and with empty cells
// without adding halves.
//
// Empty tables are left out. The ratio is not estimable when no table has an
// episode in both TP and TN, or none in both FP and FN. It returns an error
// wrapping ErrArgument for a negative cell or a conf outside (0, 1).
//
// Source: Mantel & Haenszel (1959) J Natl Cancer Inst 22:719-748; limits Robins,
// Breslow & Greenland (1986) Biometrics 42:311-323.
func MantelHaenszelOddsRatio(tables []TwoByTwo, conf float64) (MantelHaenszelResult, error) {
	res, err := mantelHaenszel(tables, conf)
	if err != nil {
		return res, err
	}
	var r, s, pr, cross, qs float64
	for _, t := range tables {
		n := float64(t.Total())
		if n == 0 {
			continue
		}
		agree, against := float64(t.TP+t.TN)/n, float64(t.FP+t.FN)/n
		ri, si := float64(t.TP)*float64(t.TN)/n, float64(t.FP)*float64(t.FN)/n
		r, s = r+ri, s+si
		pr += agree * ri
		cross += agree*si + against*ri
		qs += against * si
	}
	variance := pr/(2*r*r) + cross/(2*r*s) + qs/(2*s*s)
	res.ratio(r, s, variance, conf, MethodMantelHaenszelOR)
	return res, nil
}

// MantelHaenszelRiskRatio estimates one ratio PPV / (1 - NPV) for several tables:
// how many times likelier need is when the test marks.
//
// Edges as for MantelHaenszelOddsRatio: not estimable when no table has a TP
// beside unmarked episodes, or none an FN beside marked ones. Errors likewise.
//
// Source: Greenland & Robins (1985) Biometrics 41:55-68.
func MantelHaenszelRiskRatio(tables []TwoByTwo, conf float64) (MantelHaenszelResult, error) {
	res, err := mantelHaenszel(tables, conf)
	if err != nil {
		return res, err
	}
	var r, s, top float64
	for _, t := range tables {
		n := float64(t.Total())
		if n == 0 {
			continue
		}
		marked, unmarked := float64(t.TP+t.FP), float64(t.FN+t.TN)
		r += float64(t.TP) * unmarked / n
		s += float64(t.FN) * marked / n
		top += (marked*unmarked*float64(t.TP+t.FN) - float64(t.TP)*float64(t.FN)*n) / (n * n)
	}
	res.ratio(r, s, top/(r*s), conf, MethodMantelHaenszelRR)
	return res, nil
}

// mantelHaenszel checks the tables and makes the test they share.
func mantelHaenszel(tables []TwoByTwo, conf float64) (MantelHaenszelResult, error) {
	var res MantelHaenszelResult
	if err := checkConf(conf); err != nil {
		return res, err
	}
	var surplus, variance float64
	for _, t := range tables {
		if err := t.check(); err != nil {
			return res, err
		}
		n := float64(t.Total())
		if n == 0 {
			continue
		}
		res.Strata++
		marked, needed := float64(t.TP+t.FP), float64(t.TP+t.FN)
		surplus += float64(t.TP) - marked*needed/n
		if n > 1 {
			variance += marked * (n - marked) * needed * (n - needed) / (n * n * (n - 1))
		}
	}
	if variance > 0 {
		res.ChiSquare, res.TestKnown = surplus*surplus/variance, true
		res.P = distuv.ChiSquared{K: 1}.Survival(res.ChiSquare)
	}
	return res, nil
}

func (m *MantelHaenszelResult) ratio(r, s, variance, conf float64, method Method) {
	switch {
	case r == 0 && s == 0:
		m.Ratio = notEstimable(conf, method, "no table compares marked with unmarked episodes")
	case s == 0:
		m.Ratio = notEstimable(conf, method, "the ratio is infinite: no table has an episode against it")
	case r == 0:
		m.Ratio = notEstimable(conf, method, "the ratio is 0: no table has an episode for it")
	default:
		m.LogRatio, m.SE = math.Log(r/s), math.Sqrt(variance)
		m.Ratio = expEstimate(around(m.LogRatio, twoSidedZ(conf)*m.SE, conf, method))
	}
}
