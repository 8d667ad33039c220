package metrics

import "math"

// WhatIfAccuracy holds corrected figures under an assumption about the unseen;
// they are scenarios, so they have no limits.
type WhatIfAccuracy struct {
	Sensitivity, Specificity float64
	// Missed and Caught are expected numbers in need without and with the mark.
	Missed, Caught float64
	// NotEstimable is empty, or says why there are no figures; the numbers are
	// then 0 and mean nothing.
	NotEstimable string
}

// WhatIf gives the corrected accuracy if, among the unverified episodes, the odds
// of need were oddsPresent (marked) and oddsAbsent (not marked) times those among
// the followed-up ones of the same stratum and test result; 1 and 1 are the
// figures of Corrected. Use it for the question "what if those who did not answer
// were worse off".
//
// The factors are positive and finite, else an error wrapping ErrArgument, as for
// negative counts. A part in which no case was seen has no odds to multiply and
// stays without cases; TippingPoint asks by rate instead.
//
// Source: fixed odds ratio in the selection model of Zhou (1993) Commun Stat
// Theory Methods 22:3177-3198 and Kosinski, Barnhart (2003) Biometrics 59:163-171.
func WhatIf(strata []VerificationStratum, oddsPresent, oddsAbsent float64) (WhatIfAccuracy, error) {
	for _, k := range []float64{oddsPresent, oddsAbsent} {
		if !(k > 0 && k <= math.MaxFloat64) {
			return WhatIfAccuracy{}, argErr("odds factor %v, expected a positive finite number", k)
		}
	}
	if err := checkStrata(strata); err != nil {
		return WhatIfAccuracy{}, err
	}
	parts := verificationParts(strata)
	for _, present := range []bool{true, false} {
		if reason := unsampled(parts, present); reason != "" {
			return WhatIfAccuracy{NotEstimable: reason}, nil
		}
	}
	var all [2]float64 // episodes by side
	var need [2]float64
	for _, p := range parts {
		side, k := 1, oddsAbsent
		if p.present {
			side, k = 0, oddsPresent
		}
		all[side] += p.n
		need[side] += p.x + (p.n-p.k)*oddsShift(p.rate(), k)
	}
	w := WhatIfAccuracy{Caught: need[0], Missed: need[1]}
	needed, well := need[0]+need[1], all[0]+all[1]-need[0]-need[1]
	if needed <= 0 {
		return WhatIfAccuracy{NotEstimable: "no animal in need was found or sampled"}, nil
	}
	if well <= 0 {
		return WhatIfAccuracy{NotEstimable: "every animal found or sampled was in need"}, nil
	}
	w.Sensitivity, w.Specificity = need[0]/needed, (all[1]-need[1])/well
	return w, nil
}

// oddsShift is the probability whose odds are k times those of p.
func oddsShift(p, k float64) float64 { return k * p / (k*p + 1 - p) }

// Tipping says how far the unseen would have to differ from the seen to change a
// verdict. "Unseen" are the unverified episodes without the mark (for
// specificity: with the mark), "hit" means in need (for specificity: not in need).
type Tipping struct {
	// Floor is the value asked about, Value the corrected figure and Met whether
	// it is at or above the floor. Value and Met mean something only if
	// ValueKnown: the question can be asked even where nothing was followed up.
	Floor, Value    float64
	ValueKnown, Met bool
	// Unseen is the number of unseen episodes, SeenRate the share of hits that
	// the seen ones lead to expect among them (if ValueKnown).
	Unseen   int64
	SeenRate float64
	// Reachable is false if no outcome of the unseen moves the figure across the
	// floor; the fields below are then 0 and mean nothing.
	Reachable bool
	// Needed is the number and Rate the share of hits among the unseen at which
	// the figure equals the floor. More hits put it below.
	Needed, Rate float64
	// OddsFactor is the factor on the odds of a hit, the same in every stratum,
	// that leads there; known only if some hit was seen (OddsFactorKnown).
	OddsFactor      float64
	OddsFactorKnown bool
	// NotEstimable is empty, or says why the question has no answer.
	NotEstimable string
}

// TippingPoint asks how many of the unverified unmarked episodes would have to be
// in need for the corrected sensitivity to equal floor, the marked side being as
// estimated. A large distance from SeenRate to Rate makes the verdict robust
// against follow-up that is not ignorable; a small one does not.
//
// floor is in (0, 1). With a populated marked remainder that nobody followed up,
// or with no case at all on the marked side, it is not estimable. Errors wrap
// ErrArgument.
//
// Source: tipping-point analysis, Yan, Lee, Li (2009) J Biopharm Stat
// 19:1085-1098; odds scale as in WhatIf.
func TippingPoint(strata []VerificationStratum, floor float64) (Tipping, error) {
	if !(floor > 0 && floor < 1) {
		return Tipping{}, argErr("floor %v, expected a number between 0 and 1", floor)
	}
	if err := checkStrata(strata); err != nil {
		return Tipping{}, err
	}
	parts := verificationParts(strata)
	t := Tipping{Floor: floor}
	if reason := unsampled(parts, true); reason != "" {
		t.NotEstimable = reason
		return t, nil
	}
	var caught, known, unseen, expected float64
	for _, p := range parts {
		if p.present {
			caught += p.n * p.rate()
			continue
		}
		known += p.x
		unseen += p.n - p.k
		expected += (p.n - p.k) * p.rate()
	}
	if caught == 0 {
		t.NotEstimable = "no case on the marked side, so the figure is 0 whatever the unseen are"
		return t, nil
	}
	t.Unseen = int64(unseen)
	if t.ValueKnown = unsampled(parts, false) == ""; t.ValueKnown {
		t.Value = caught / (caught + known + expected)
		t.Met = t.Value >= floor
		if unseen > 0 {
			t.SeenRate = expected / unseen
		}
	}
	target := caught*(1-floor)/floor - known
	if target < 0 || target > unseen || unseen == 0 {
		return t, nil
	}
	t.Reachable, t.Needed, t.Rate = true, target, target/unseen
	if t.ValueKnown && expected > 0 {
		t.OddsFactor, t.OddsFactorKnown = tippingOdds(parts, target)
	}
	return t, nil
}

// TippingPointSpecificity is TippingPoint for the corrected specificity: how many
// of the unverified marked episodes would have to be not in need. "Marked" and
// "in need" exchange their roles; all else is as there.
func TippingPointSpecificity(strata []VerificationStratum, floor float64) (Tipping, error) {
	return TippingPoint(mirrorStrata(strata), floor)
}

// tippingOdds finds the common odds factor at which the unseen hold target hits.
// It reports false where no factor does, since parts without a hit stay so.
func tippingOdds(parts []part, target float64) (float64, bool) {
	const widest = 30 // on the log scale: e^30 is as good as infinity
	hits := func(logFactor float64) float64 {
		var sum float64
		for _, p := range parts {
			if !p.present {
				sum += (p.n - p.k) * oddsShift(p.rate(), math.Exp(logFactor))
			}
		}
		return sum - target
	}
	if hits(-widest) >= 0 || hits(widest) <= 0 {
		return 0, false
	}
	return math.Exp(risingRoot(hits, -widest, widest)), true
}
