package metrics

// Range holds the lowest and highest value a figure can take. It is not a
// confidence interval: it assumes nothing and has no confidence.
type Range struct {
	Low, High float64
	// Undefined says why there is no range; Low and High are then 0 and mean
	// nothing.
	Undefined string
}

// Bounds are the values a figure takes when every unverified episode is given
// the outcome that is worst, or best, for it.
type Bounds struct {
	Sensitivity, Specificity, PPV, NPV, Prevalence Range
	// Missed and Caught count episodes in need without and with the mark.
	Missed, Caught Range
}

// VerificationBounds gives the assumption-free bounds of accuracy when some
// episodes are unverified: sensitivity is lowest with no unverified marked
// episode and every unverified unmarked episode in need, highest the other way
// round. Two unverified groups at the extremes at once are as unlikely as they
// are possible; that is what "assumption-free" costs.
//
// It returns an error wrapping ErrArgument for a negative count. A figure whose
// denominator is empty at every outcome is Undefined. Also called worst-case or
// no-assumption bounds, extreme bounds.
//
// Source: Manski (1990) Am Econ Rev 80:319-323; for verification Kosinski,
// Barnhart (2003) Biometrics 59:163-171.
func VerificationBounds(strata []VerificationStratum) (Bounds, error) {
	if err := checkStrata(strata); err != nil {
		return Bounds{}, err
	}
	t := verifiedTable(strata)
	var up, ua float64
	for _, s := range strata {
		up += float64(s.Present.Unverified)
		ua += float64(s.Absent.Unverified)
	}
	tp, fp, fn, tn := float64(t.TP), float64(t.FP), float64(t.FN), float64(t.TN)
	return Bounds{
		Sensitivity: shareRange(tp, up, fn, ua, "no animal can have been in need"),
		Specificity: shareRange(tn, ua, fp, up, "every animal was in need"),
		PPV:         fixedRange(tp, up, tp+fp+up, "nothing was marked"),
		NPV:         fixedRange(tn, ua, tn+fn+ua, "everything was marked"),
		Prevalence:  fixedRange(tp+fn, up+ua, tp+fp+fn+tn+up+ua, "there are no episodes"),
		Missed:      Range{Low: fn, High: fn + ua},
		Caught:      Range{Low: tp, High: tp + up},
	}, nil
}

// shareRange bounds hit/(hit+miss) where up to moreHit and moreMiss may be
// added to either.
func shareRange(hit, moreHit, miss, moreMiss float64, empty string) Range {
	if hit+moreHit+miss+moreMiss == 0 {
		return Range{Undefined: empty}
	}
	var r Range
	if hit > 0 {
		r.Low = hit / (hit + miss + moreMiss)
	} else if miss+moreMiss == 0 {
		r.Low = 1 // only hits are possible
	}
	if hit+moreHit > 0 {
		r.High = (hit + moreHit) / (hit + moreHit + miss)
	}
	return r
}

// fixedRange bounds a share whose denominator does not depend on need.
func fixedRange(x, more, n float64, empty string) Range {
	if n == 0 {
		return Range{Undefined: empty}
	}
	return Range{Low: x / n, High: (x + more) / n}
}
