package metrics

import "math"

// LevelOutcomes counts, level by level, the calls and those among them that
// had a serious outcome. It serves where the needed level is not known but
// the outcome is.
type LevelOutcomes struct {
	// Levels names the levels advised, the most urgent first.
	Levels []string
	// Calls and Serious count verified calls and serious outcomes a level.
	Calls, Serious []int64
}

func (o LevelOutcomes) check() error {
	if len(o.Levels) < 2 || len(o.Calls) != len(o.Levels) || len(o.Serious) != len(o.Levels) {
		return argErr("%d levels, %d call counts, %d outcome counts; expected the same number, at least 2",
			len(o.Levels), len(o.Calls), len(o.Serious))
	}
	for i := range o.Calls {
		if o.Serious[i] < 0 || o.Calls[i] < o.Serious[i] {
			return argErr("level %q: %d serious of %d calls, expected 0 <= serious <= calls",
				o.Levels[i], o.Serious[i], o.Calls[i])
		}
	}
	return nil
}

// AtCut folds the outcomes at a cut: levels 0 to cut count as escalated. A cut
// outside 0..len(Levels)-2 or inconsistent counts are ErrArgument.
func (o LevelOutcomes) AtCut(cut int) (TwoByTwo, error) {
	if err := o.check(); err != nil {
		return TwoByTwo{}, err
	}
	if cut < 0 || cut > len(o.Levels)-2 {
		return TwoByTwo{}, argErr("cut %d, expected 0 to %d", cut, len(o.Levels)-2)
	}
	var t TwoByTwo
	for i := range o.Levels {
		if i <= cut {
			t.TP += o.Serious[i]
			t.FP += o.Calls[i] - o.Serious[i]
		} else {
			t.FN += o.Serious[i]
			t.TN += o.Calls[i] - o.Serious[i]
		}
	}
	return t, nil
}

// SeriousByLevel estimates the share of serious outcomes at each level, with
// Clopper-Pearson limits; a level without calls is not estimable.
func SeriousByLevel(o LevelOutcomes, conf float64) ([]Estimate, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	rates := make([]Estimate, len(o.Levels))
	for i := range rates {
		e, err := ClopperPearson(o.Serious[i], o.Calls[i], conf)
		if err != nil {
			return nil, err
		}
		rates[i] = e
	}
	return rates, nil
}

// SeriousTrend tests whether the share of serious outcomes rises or falls
// steadily over the levels, scored 1, 2, 3, ...: the chi-square for linear
// trend with 1 degree of freedom. Without calls at two levels, or with a
// serious outcome in none or all of the calls, there is no test. Inconsistent
// counts are ErrArgument.
//
// Source: Cochran (1954) Biometrics 10:417-451; Armitage (1955) Biometrics
// 11:375-386.
func SeriousTrend(o LevelOutcomes) (ChiSquare, error) {
	if err := o.check(); err != nil {
		return ChiSquare{}, err
	}
	var n, x, scored, scoredSq float64
	for i := range o.Levels {
		score := float64(i + 1)
		n += float64(o.Calls[i])
		x += float64(o.Serious[i])
		scored += score * float64(o.Calls[i])
		scoredSq += score * score * float64(o.Calls[i])
	}
	if x == 0 || x == n {
		return ChiSquare{NotEstimable: "none, or all, of the calls had a serious outcome"}, nil
	}
	p, mean := x/n, scored/n
	spread := scoredSq - n*mean*mean
	if spread <= 1e-9*scoredSq {
		return ChiSquare{NotEstimable: "all calls are at one level"}, nil
	}
	num := 0.0
	for i := range o.Levels {
		num += (float64(i+1) - mean) * (float64(o.Serious[i]) - p*float64(o.Calls[i]))
	}
	return chiSquare(math.Pow(num, 2)/(p*(1-p)*spread), 1), nil
}
