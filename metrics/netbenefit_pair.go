package metrics

import "math"

// RulePair holds two rule sets on the same verified episodes, "yes" meaning that the
// rule set marks the episode.
type RulePair struct {
	// Needed counts pairs of animals in need of prompt care, NotNeeded of the others.
	Needed, NotNeeded PairedCounts
}

// N is the number of episodes.
func (r RulePair) N() int64 { return r.Needed.N() + r.NotNeeded.N() }

// First and Second are the two rule sets' own tables.
func (r RulePair) First() TwoByTwo {
	return TwoByTwo{TP: r.Needed.Both + r.Needed.FirstOnly, FN: r.Needed.SecondOnly + r.Needed.Neither,
		FP: r.NotNeeded.Both + r.NotNeeded.FirstOnly, TN: r.NotNeeded.SecondOnly + r.NotNeeded.Neither}
}

// Second is the second rule set's own table.
func (r RulePair) Second() TwoByTwo { return r.Swap().First() }

// Swap exchanges the two rule sets.
func (r RulePair) Swap() RulePair {
	return RulePair{Needed: r.Needed.Swap(), NotNeeded: r.NotNeeded.Swap()}
}

func (r RulePair) check() error {
	if err := r.Needed.check(); err != nil {
		return err
	}
	return r.NotNeeded.check()
}

// NetBenefitDifference estimates the net benefit of the first rule set minus that of the
// second on the same episodes at threshold probability pt: (b1 - c1)/n - (b0 - c0)/n x
// pt/(1-pt), b and c being the discordant pairs among animals in need (1) and others (0).
// The limits join Tango's limits of both paired differences over all n episodes. With no
// episode it is not estimable. It returns ErrArgument for a negative count, pt outside
// [0, 1) or a bad conf.
//
// Source: Vickers & Elkin (2006) Med Decis Making 26:565-574; Tango (1998) Stat Med
// 17:891-908; Zou & Donner (2008) Stat Med 27:1693-1702.
func NetBenefitDifference(r RulePair, pt, conf float64) (Estimate, error) {
	w, err := harmWeight(pt)
	if err != nil {
		return Estimate{}, err
	}
	if err := r.check(); err != nil {
		return Estimate{}, err
	}
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	if r.N() == 0 {
		return notEstimable(conf, MethodMOVERTango, "no verified episode"), nil
	}
	d := r.discordance(twoSidedZ(conf))
	v, low, high := d.netBenefit(w)
	return netBenefitEstimate(v, low, high, float64(r.N()), conf, MethodMOVERTango), nil
}

// discordance holds what two rule sets gain and lose, as shares of all episodes.
type discordance struct {
	gain, gainLow, gainHigh    float64 // true positives, first minus second
	extra, extraLow, extraHigh float64 // false positives, first minus second
	correlation                float64
}

func (r RulePair) discordance(z float64) discordance {
	n := float64(r.N())
	b1, c1 := float64(r.Needed.FirstOnly), float64(r.Needed.SecondOnly)
	b0, c0 := float64(r.NotNeeded.FirstOnly), float64(r.NotNeeded.SecondOnly)
	d := discordance{gain: (b1 - c1) / n, extra: (b0 - c0) / n}
	d.gainLow, d.gainHigh = tangoLimits(b1, c1, n, z)
	d.extraLow, d.extraHigh = tangoLimits(b0, c0, n, z)
	v1, v0 := (b1+c1)/n-d.gain*d.gain, (b0+c0)/n-d.extra*d.extra
	if v1 > 0 && v0 > 0 {
		d.correlation = -d.gain * d.extra / math.Sqrt(v1*v0)
	}
	return d
}

func (d discordance) netBenefit(w float64) (v, low, high float64) {
	low, high = movers(d.gain, d.gainLow, d.gainHigh, w*d.extra, w*d.extraLow, w*d.extraHigh, d.correlation)
	return d.gain - w*d.extra, low, high
}

// MethodBreakEven inverts the interval of the difference in net benefit.
const MethodBreakEven Method = "threshold probabilities at which the difference is not clear"

// BreakEven estimates the threshold probability at which two rule sets are worth the
// same: extra true positives / (extra true positives + extra false positives). Below it
// the rule set that refers more is worth more, above it the other.
//
// The limits hold all threshold probabilities at which the limits of
// NetBenefitDifference include 0, up to 0 and 1. Where one rule set finds no fewer
// animals in need and refers no more of the others, there is no break-even: it is not
// estimable and the reason says which rule set is ahead. It returns ErrArgument for a
// negative count or a bad conf.
func BreakEven(r RulePair, conf float64) (Estimate, error) {
	if err := r.check(); err != nil {
		return Estimate{}, err
	}
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	gain := r.Needed.FirstOnly - r.Needed.SecondOnly
	extra := r.NotNeeded.FirstOnly - r.NotNeeded.SecondOnly
	if why := noBreakEven(gain, extra); why != "" {
		return notEstimable(conf, MethodBreakEven, "%s", why), nil
	}
	d := r.discordance(twoSidedZ(conf))
	pt := float64(gain) / float64(gain+extra)
	// clear is above 0 where the difference is clearly not 0.
	clear := func(p float64) float64 {
		_, low, high := d.netBenefit(p / (1 - p))
		return math.Max(low, -high)
	}
	low := risingRoot(func(p float64) float64 { return -clear(p) }, 0, pt)
	high := risingRoot(clear, pt, math.Nextafter(1, 0))
	return Estimate{Value: pt, Low: math.Min(low, pt), High: math.Max(high, pt), Conf: conf, Method: MethodBreakEven,
		Numerator: math.Abs(float64(gain)), Denominator: math.Abs(float64(gain + extra))}, nil
}

func noBreakEven(gain, extra int64) string {
	switch {
	case gain == 0 && extra == 0:
		return "the two rule sets find and refer equally many: they are worth the same at every threshold probability"
	case gain >= 0 && extra <= 0:
		return "the first rule set finds no fewer and refers no more needlessly: it is worth at least as much at every threshold probability"
	case gain <= 0 && extra >= 0:
		return "the second rule set finds no fewer and refers no more needlessly: it is worth at least as much at every threshold probability"
	}
	return ""
}
