package metrics

import (
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

func checkDraws(draws int, rng *rand.Rand) error {
	if draws < minDraws {
		return argErr("%d draws, expected at least %d", draws, minDraws)
	}
	if rng == nil {
		return argErr("no random source, expected a seeded *rand.Rand")
	}
	return nil
}

// drawMultinomial puts n episodes into cells with probabilities proportional to
// weight (total is their sum) by one conditional binomial a cell, so that its cost
// is the number of cells, whatever n is.
func drawMultinomial(dst, weight []float64, total, n float64, rng *rand.Rand) {
	left, rest := n, total
	for i, w := range weight {
		switch {
		case left <= 0 || w <= 0:
			dst[i] = 0
		case w >= rest*(1-1e-15):
			dst[i] = left
		default:
			dst[i] = distuv.Binomial{N: left, P: w / rest, Src: rng}.Rand()
		}
		left -= dst[i]
		rest -= w
	}
}

// resampler draws value tables like the one it was made from. The table returned
// by a draw is overwritten by the next.
type resampler struct {
	from, to valueTable
	cells    []float64
	drawn    []float64
	rng      *rand.Rand
}

func newResampler(t valueTable, rng *rand.Rand) *resampler {
	k := len(t.value)
	b := &resampler{from: t, rng: rng, cells: make([]float64, 0, 2*k), drawn: make([]float64, 2*k)}
	b.cells = append(append(b.cells, t.pos...), t.neg...)
	b.to = valueTable{value: t.value, pos: b.drawn[:k], neg: b.drawn[k:]}
	return b
}

// withinSides resamples each side by itself: its number of animals stays.
func (b *resampler) withinSides() valueTable {
	drawMultinomial(b.to.pos, b.from.pos, b.from.nPos, b.from.nPos, b.rng)
	drawMultinomial(b.to.neg, b.from.neg, b.from.nNeg, b.from.nNeg, b.rng)
	b.to.total()
	return b.to
}

// episodes resamples all episodes together: the share that needed care varies too.
func (b *resampler) episodes() valueTable {
	n := b.from.nPos + b.from.nNeg
	drawMultinomial(b.drawn, b.cells, n, n, b.rng)
	b.to.total()
	return b.to
}

// percentileEstimate puts the two-sided percentile limits of draws around value.
// A percentile interval may miss its own estimate (all draws on one side of it);
// the limits are then moved out to it.
func percentileEstimate(value float64, draws []float64, conf float64, m Method) Estimate {
	if len(draws) == 0 {
		return notEstimable(conf, m, "no simulation draw gave a figure")
	}
	low, high := percentileLimits(draws, conf)
	return Estimate{Value: value, Low: math.Min(low, value), High: math.Max(high, value), Conf: conf, Method: m}
}

// percentileLimits sorts draws and reads the two limits at position p (n + 1), with
// interpolation between neighbours (quantile type 6): n draws cut the line into n + 1 parts
// of equal chance, and reading them as n - 1 parts makes limits of few draws too narrow.
func percentileLimits(draws []float64, conf float64) (low, high float64) {
	sort.Float64s(draws)
	n := len(draws)
	at := func(p float64) float64 {
		x := p*float64(n+1) - 1
		i := int(math.Floor(x))
		switch {
		case i < 0:
			return draws[0]
		case i+1 >= n:
			return draws[n-1]
		}
		return draws[i] + (x-float64(i))*(draws[i+1]-draws[i])
	}
	return at((1 - conf) / 2), at(1 - (1-conf)/2)
}

// cumulative holds prefix sums of a value table, so that the counts of a threshold
// are found by binary search.
type cumulative struct{ pos, neg []float64 }

func (t valueTable) cumulate() cumulative {
	k := len(t.value)
	c := cumulative{pos: make([]float64, k+1), neg: make([]float64, k+1)}
	for i := range k {
		c.pos[i+1] = c.pos[i] + t.pos[i]
		c.neg[i+1] = c.neg[i] + t.neg[i]
	}
	return c
}

// at is valueTable.at for many thresholds.
func (c cumulative) at(t valueTable, th Threshold) ROCPoint {
	k := len(t.value)
	low, high := 0, k
	if th.HasLower {
		low = sort.Search(k, func(i int) bool { return t.value[i] > th.Lower })
	}
	if th.HasUpper {
		high = sort.SearchFloat64s(t.value, th.Upper)
	}
	p := ROCPoint{Threshold: th, Needed: t.nPos, NotNeeded: t.nNeg}
	if low >= high {
		p.TP, p.FP = t.nPos, t.nNeg
		return p
	}
	p.TP = c.pos[low] + c.pos[k] - c.pos[high]
	p.FP = c.neg[low] + c.neg[k] - c.neg[high]
	return p
}

// topShares orders counted thresholds by frequency, ties by value.
func topShares(times map[Threshold]int) []ThresholdShare {
	total := 0
	out := make([]ThresholdShare, 0, len(times))
	for th, n := range times {
		total += n
		out = append(out, ThresholdShare{Threshold: th, Share: float64(n)})
	}
	sort.Slice(out, func(i, j int) bool {
		a, b := out[i], out[j]
		if a.Share != b.Share {
			return a.Share > b.Share
		}
		if a.Threshold.Lower != b.Threshold.Lower {
			return a.Threshold.Lower < b.Threshold.Lower
		}
		return a.Threshold.Upper < b.Threshold.Upper
	})
	for i := range out {
		out[i].Share /= float64(total)
	}
	return out
}
