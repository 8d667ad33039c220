package metrics

import (
	"fmt"
	"math"
)

// MethodTwoPhase names the estimates of AuditPrevalence.
const MethodTwoPhase Method = "two-phase, weights adjusted for response, posterior simulation on counts"

// AuditDraw counts the episodes of one stratum that were drawn for follow-up
// with one probability.
type AuditDraw struct {
	// Probability is the known probability of being drawn, in (0, 1].
	Probability float64
	// Drawn were to be telephoned, Answered gave an outcome, Needed of those
	// were in need.
	Drawn, Answered, Needed int64
}

// AuditStratum is one stratum of an audit sample. Response is taken to be
// unrelated to need within it.
type AuditStratum struct {
	Name string
	// Eligible is the number of episodes from which was drawn, those not drawn
	// included, found ones excluded.
	Eligible int64
	// FoundNeeded and FoundNotNeeded presented themselves. They form a stratum
	// known with certainty: they count as they are and carry no weight.
	FoundNeeded, FoundNotNeeded int64
	Draws                       []AuditDraw
}

// AuditWeight says for how many episodes one answer stands.
type AuditWeight struct {
	Stratum string
	// Probability of being drawn, Response the share of the drawn of this
	// stratum that answered (weighted by 1/Probability), and Weight the number of
	// eligible episodes each answer stands for.
	Probability, Response, Weight float64
}

// AuditResult is the need for care among the episodes that were audited.
type AuditResult struct {
	// Rate is the share in need among eligible and found episodes, Needed their
	// number among these very episodes.
	Rate, Needed Estimate
	// Response is the plain share answered among those drawn.
	Response Estimate
	// Silent bounds Needed if nobody, or everybody, among the drawn who did not
	// answer was in need. It is not a confidence interval.
	Silent Range
	// Weights has one entry for each draw with an answer, in the order given.
	Weights []AuditWeight
}

// AuditPrevalence estimates how many of the episodes open to an audit were in
// need, from a sample with known probabilities.
//
// In a stratum each answer gets the weight 1/probability over the weighted share
// of the drawn that answered, scaled to the eligible number; found episodes are
// added with weight 1. The estimate is the sum over strata. Limits come from the
// posterior simulation of Corrected, with the draws of a stratum as its parts.
// With one probability in each stratum the result equals Corrected.Missed on the
// cells that Cell gives.
//
// A stratum with eligible episodes but no answer makes the figures not estimable;
// the reason names it. Feed one kind of reference only: what an owner says is a
// weaker reference than what a vet found, and the two are not to be pooled (see
// AccuracyBySource). Errors wrap ErrArgument: negative or contradictory counts, a
// probability outside (0, 1], options out of range.
//
// Source: two-phase (double) sampling, Neyman (1938) J Am Stat Assoc 33:101-116;
// response adjustment within strata as in Oh, Scheuren (1983), in Incomplete Data
// in Sample Surveys 2:143-184.
func AuditPrevalence(strata []AuditStratum, opt CorrectionOptions) (AuditResult, error) {
	if err := opt.check(); err != nil {
		return AuditResult{}, err
	}
	if len(strata) == 0 {
		return AuditResult{}, argErr("no strata")
	}
	var out AuditResult
	var parts []part
	var drawn, answered int64
	var blocked string
	for _, s := range strata {
		if err := s.check(); err != nil {
			return AuditResult{}, err
		}
		p, weights, silent := s.weigh()
		parts = append(parts, p...)
		out.Weights = append(out.Weights, weights...)
		out.Silent.Low += silent.Low
		out.Silent.High += silent.High
		for _, d := range s.Draws {
			drawn, answered = drawn+d.Drawn, answered+d.Answered
		}
		if s.Eligible > 0 && len(weights) == 0 && blocked == "" {
			blocked = fmt.Sprintf("none of the %d eligible episodes in stratum %q has an answer", s.Eligible, s.Name)
		}
	}
	var err error
	if out.Response, err = Wilson(answered, drawn, opt.Conf); err != nil {
		return AuditResult{}, err
	}
	sum := summary{parts: sortParts(parts), conf: opt.Conf}
	sum.expect()
	sum.simulate(opt.Draws, opt.Rand)
	out.Rate = sum.share(blocked, "there are no episodes",
		func(d *verificationDraw) float64 { return d.fn }, func(d *verificationDraw) float64 { return d.tn })
	out.Needed = sum.number(blocked, func(d *verificationDraw) float64 { return d.missed })
	out.Rate.Method, out.Needed.Method = MethodTwoPhase, MethodTwoPhase
	return out, nil
}

// Cell gives the stratum's counts as the unmarked cell of a VerificationStratum.
// It forgets the probabilities, which is right where there is only one.
func (s AuditStratum) Cell() VerificationCell {
	c := VerificationCell{FoundNeeded: s.FoundNeeded, FoundNotNeeded: s.FoundNotNeeded, Unverified: s.Eligible}
	for _, d := range s.Draws {
		c.SampledNeeded += d.Needed
		c.SampledNotNeeded += d.Answered - d.Needed
		c.Unverified -= d.Answered
	}
	return c
}

func (s AuditStratum) check() error {
	if min(s.Eligible, s.FoundNeeded, s.FoundNotNeeded) < 0 {
		return argErr("stratum %q has a negative count", s.Name)
	}
	var drawn int64
	for _, d := range s.Draws {
		if !(d.Probability > 0 && d.Probability <= 1) {
			return argErr("stratum %q: probability %v, expected more than 0 and at most 1", s.Name, d.Probability)
		}
		if d.Needed < 0 || d.Answered < d.Needed || d.Drawn < d.Answered {
			return argErr("stratum %q: %d needed of %d answered of %d drawn, expected each within the next",
				s.Name, d.Needed, d.Answered, d.Drawn)
		}
		drawn += d.Drawn
	}
	if drawn > s.Eligible {
		return argErr("stratum %q: %d drawn of %d eligible", s.Name, drawn, s.Eligible)
	}
	return nil
}

// weigh turns a stratum into parts, one for the found and one for each draw with
// an answer, whose sizes add up to the eligible number.
func (s AuditStratum) weigh() (parts []part, weights []AuditWeight, silent Range) {
	if found := float64(s.FoundNeeded + s.FoundNotNeeded); found > 0 {
		parts = append(parts, part{n: found, k: found, x: float64(s.FoundNeeded), stratum: s.Name})
	}
	var drawn, answered, needed, quiet float64 // weighted by 1/probability
	for _, d := range s.Draws {
		drawn += float64(d.Drawn) / d.Probability
		answered += float64(d.Answered) / d.Probability
		needed += float64(d.Needed) / d.Probability
		quiet += float64(d.Drawn-d.Answered) / d.Probability
	}
	eligible := float64(s.Eligible)
	silent = Range{Low: float64(s.FoundNeeded), High: float64(s.FoundNeeded)}
	if drawn > 0 {
		silent.Low += eligible * needed / drawn
		silent.High += eligible * (needed + quiet) / drawn
	} else {
		silent.High += eligible
	}
	for _, d := range s.Draws {
		if d.Answered == 0 {
			continue
		}
		w := AuditWeight{
			Stratum: s.Name, Probability: d.Probability, Response: answered / drawn,
			Weight: eligible / answered / d.Probability,
		}
		weights = append(weights, w)
		k := float64(d.Answered)
		// Rounding must not leave fewer episodes than were answered.
		parts = append(parts, part{n: math.Max(k, w.Weight*k), k: k, x: float64(d.Needed), stratum: s.Name})
	}
	return parts, weights, silent
}

// SourceAccuracy is the accuracy of one test by who said whether the animal was
// in need. The two are never added up.
type SourceAccuracy struct {
	Vet, Owner NaiveAccuracy
	// SensitivityGap and SpecificityGap are the owner's figure minus the vet's.
	// Different animals may explain them as well as different references.
	SensitivityGap, SpecificityGap Estimate
}

// AccuracyBySource estimates accuracy against vets' findings and against owners'
// accounts side by side. An owner's account is the weaker reference: it misses
// what only an examination shows and remembers what turned out badly. To allow
// for its error rates, give owner to AgainstImperfectReference.
//
// The tables share no episode. Limits are Wilson's, those of the gaps Newcombe's.
// Errors as in Sensitivity.
//
// Source: on different reference standards for different animals: Lijmer et al.
// (1999) JAMA 282:1061-1066.
func AccuracyBySource(vet, owner TwoByTwo, conf float64) (SourceAccuracy, error) {
	var out SourceAccuracy
	var err error
	if out.Vet, err = naiveAccuracy(vet, conf); err != nil {
		return SourceAccuracy{}, err
	}
	if out.Owner, err = naiveAccuracy(owner, conf); err != nil {
		return SourceAccuracy{}, err
	}
	if out.SensitivityGap, err = NewcombeDifference(owner.TP, owner.TP+owner.FN, vet.TP, vet.TP+vet.FN, conf); err != nil {
		return SourceAccuracy{}, err
	}
	out.SpecificityGap, err = NewcombeDifference(owner.TN, owner.TN+owner.FP, vet.TN, vet.TN+vet.FP, conf)
	return out, err
}
