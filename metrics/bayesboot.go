package metrics

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// MethodBayesBootstrap names the limits of BayesianBootstrap.
const MethodBayesBootstrap Method = "Bayesian bootstrap, percentile"

// BayesianBootstrap gives limits to any figure that can be computed from the
// shares of a table's cells and for which no formula is at hand: it draws the
// shares from their Dirichlet posterior, computes the figure for each draw and
// takes percentiles.
//
// counts holds the calls in each cell. figure receives shares that add up to 1,
// in the order of counts, and returns the figure, or false where the shares do
// not define it (a division by nothing); it must not keep the slice. draws is
// the number of draws, at least 100; 2000 give limits steady to about a
// twentieth of their width. rng is the caller's seeded generator: the same seed
// gives the same limits. Value is the figure at the observed shares.
//
// The prior is Rubin's, with no weight of its own: a cell that was never seen
// stays at 0 in every draw, so limits are too short where an empty cell
// matters (sensitivity with no missed case comes out as exactly 1). That case
// carries a warning. The estimate is marked not estimable when the table is
// empty, when the observed shares do not define the figure, or when more than
// one draw in twenty does not. It returns an error wrapping ErrArgument for a negative count, no
// cells, too few draws, a nil function or generator, a conf outside (0, 1), or
// a figure that is not a finite number.
//
// Source: Rubin (1981) Ann Stat 9:130-134.
func BayesianBootstrap(counts []int64, figure func(share []float64) (float64, bool), draws int, conf float64, rng *rand.Rand) (Estimate, error) {
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	if len(counts) == 0 || draws < 100 || figure == nil || rng == nil {
		return Estimate{}, argErr("%d cells and %d draws, expected at least 1 cell, 100 draws, a figure and a generator", len(counts), draws)
	}
	n, empty := int64(0), 0
	for i, c := range counts {
		if c < 0 {
			return Estimate{}, argErr("count %d in cell %d, expected 0 or more", c, i+1)
		}
		if c == 0 {
			empty++
		}
		n += c
	}
	if n == 0 {
		return notEstimable(conf, MethodBayesBootstrap, "the table is empty"), nil
	}
	share := make([]float64, len(counts))
	for i, c := range counts {
		share[i] = float64(c) / float64(n)
	}
	value, ok := figure(share)
	if !ok {
		return notEstimable(conf, MethodBayesBootstrap, "the observed counts do not define the figure"), nil
	}
	drawn, err := bootstrapFigures(counts, share, figure, draws, rng)
	if err != nil {
		return Estimate{}, err
	}
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return Estimate{}, argErr("the figure gave %v at the observed shares, expected a finite number or false", value)
	}
	if 20*(draws-len(drawn)) > draws {
		return notEstimable(conf, MethodBayesBootstrap, "%d of %d draws do not define the figure", draws-len(drawn), draws), nil
	}
	slices.Sort(drawn)
	e := Estimate{
		Value: value, Conf: conf, Method: MethodBayesBootstrap,
		Low:  math.Min(value, quantile7(drawn, (1-conf)/2)),
		High: math.Max(value, quantile7(drawn, (1+conf)/2)),
	}
	if empty > 0 {
		e.Warnings = append(e.Warnings, fmt.Sprintf("%d empty cells stay empty in every draw; the limits may be too short", empty))
	}
	return e, nil
}

// bootstrapFigures returns the figure of every draw that defines it. share is
// scratch space.
func bootstrapFigures(counts []int64, share []float64, figure func([]float64) (float64, bool), draws int, rng *rand.Rand) ([]float64, error) {
	out := make([]float64, 0, draws)
	for range draws {
		total := 0.0
		for i, c := range counts {
			share[i] = 0
			if c > 0 {
				share[i] = distuv.Gamma{Alpha: float64(c), Beta: 1, Src: rng}.Rand()
			}
			total += share[i]
		}
		for i := range share {
			share[i] /= total
		}
		v, ok := figure(share)
		if !ok {
			continue
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, argErr("the figure gave %v, expected a finite number or false", v)
		}
		out = append(out, v)
	}
	return out, nil
}

// quantile7 is the sample quantile of sorted values with linear interpolation
// between order statistics (type 7 of Hyndman & Fan 1996 Am Stat 50:361-365).
func quantile7(sorted []float64, q float64) float64 {
	at := q * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}
