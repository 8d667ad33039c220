package metrics

// PairBounds are the values that a comparison of two rule sets takes when every
// unverified episode is given the outcome that is worst, or best, for it.
type PairBounds struct {
	// SensitivityDifference and SpecificityDifference are first minus second, in -1..1.
	SensitivityDifference, SpecificityDifference Range
	// Gained, Lost, Extra and Spared count episodes as in RuleCorrection.
	Gained, Lost, Extra, Spared Range
}

// ComparePairBounds gives the assumption-free bounds of CompareRulesPartial. With F and S
// the animals in need that only the first and only the second rule set marks and R the
// rest in need, the difference of sensitivities is (F - S) / (F + S + R): it is highest
// with all unverified of F and none of S in need, and R as small as possible while
// F > S; lowest the other way round. Specificity likewise, among the others.
//
// A difference is Undefined where nobody can have been in need (or everybody must have
// been). It returns an error wrapping ErrArgument for a negative count. The order of
// strata does not matter. Also called worst-case or no-assumption bounds.
//
// Source: Manski (1990) Am Econ Rev 80:319-323, carried to pairs.
func ComparePairBounds(strata []PairVerificationStratum) (PairBounds, error) {
	var need, well, open [4]float64
	for _, s := range strata {
		for pair, c := range s.cells() {
			if err := checkStrata([]VerificationStratum{{Name: s.Name, Present: c}}); err != nil {
				return PairBounds{}, err
			}
			need[pair] += float64(c.needed())
			well[pair] += float64(c.notNeeded())
			open[pair] += float64(c.Unverified)
		}
	}
	number := func(of [4]float64, pair int) Range { return Range{Low: of[pair], High: of[pair] + open[pair]} }
	return PairBounds{
		SensitivityDifference: differenceRange(need, open, pairFirstOnly, pairSecondOnly, "no animal can have been in need"),
		SpecificityDifference: differenceRange(well, open, pairSecondOnly, pairFirstOnly, "every animal was in need"),
		Gained:                number(need, pairFirstOnly), Lost: number(need, pairSecondOnly),
		Extra: number(well, pairFirstOnly), Spared: number(well, pairSecondOnly),
	}, nil
}

// differenceRange bounds (plus - minus) / all four, up to open more in each.
func differenceRange(known, open [4]float64, plus, minus int, empty string) Range {
	all := 0.0
	for i := range known {
		all += known[i] + open[i]
	}
	if all == 0 {
		return Range{Undefined: empty}
	}
	rest := known[pairBoth] + known[pairNeither]
	more := open[pairBoth] + open[pairNeither]
	// extreme is the difference with p and m in the discordant cells, the rest made
	// as small as it can be where that moves it away from 0.
	extreme := func(p, m float64, smallest bool) float64 {
		r := rest + more
		if smallest {
			r = rest
		}
		if p+m+r == 0 {
			return 0
		}
		return (p - m) / (p + m + r)
	}
	highP, highM := known[plus]+open[plus], known[minus]
	lowP, lowM := known[plus], known[minus]+open[minus]
	return Range{Low: extreme(lowP, lowM, lowP < lowM), High: extreme(highP, highM, highP > highM)}
}
