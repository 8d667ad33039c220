package metrics

import (
	"cmp"
	"fmt"
	"slices"
)

// VerificationCell counts the episodes of one stratum with one test result by
// how their need became known. Its five counts add up to all such episodes.
//
// A cell has a found part and a remainder. Found episodes made themselves
// known because of what happened to them: an animal told to stay at home that
// is brought in after all got worse. They are added as they are and say nothing
// about the rest. The remainder is estimated from a route that samples it:
// advised visits where animals were sent in, call-backs and audits where not.
type VerificationCell struct {
	// FoundNeeded and FoundNotNeeded are known with certainty and are not a
	// sample of the rest: own-decision and other visits in a stratum that
	// was not sent in.
	FoundNeeded, FoundNotNeeded int64
	// SampledNeeded and SampledNotNeeded were verified by a route that samples
	// the cell's remainder.
	SampledNeeded, SampledNotNeeded int64
	// Unverified is the rest: need unknown.
	Unverified int64
}

// Total is the number of episodes in the cell.
func (c VerificationCell) Total() int64 {
	return c.FoundNeeded + c.FoundNotNeeded + c.Sampled() + c.Unverified
}

// Sampled is the number verified by sampling the remainder.
func (c VerificationCell) Sampled() int64 { return c.SampledNeeded + c.SampledNotNeeded }

// Add sums two cells count by count.
func (c VerificationCell) Add(o VerificationCell) VerificationCell {
	return VerificationCell{
		FoundNeeded: c.FoundNeeded + o.FoundNeeded, FoundNotNeeded: c.FoundNotNeeded + o.FoundNotNeeded,
		SampledNeeded: c.SampledNeeded + o.SampledNeeded, SampledNotNeeded: c.SampledNotNeeded + o.SampledNotNeeded,
		Unverified: c.Unverified + o.Unverified,
	}
}

// needed and notNeeded are the verified episodes by need.
func (c VerificationCell) needed() int64    { return c.FoundNeeded + c.SampledNeeded }
func (c VerificationCell) notNeeded() int64 { return c.FoundNotNeeded + c.SampledNotNeeded }

// VerificationStratum is one stratum within which verification is taken to be
// unrelated to need, given the test result and being in the remainder.
type VerificationStratum struct {
	// Name says which episodes these are; it appears in reasons and warnings.
	Name string
	// Present are the episodes that the test marks, Absent those it does not.
	Present, Absent VerificationCell
}

// part is a found part or a remainder as the estimators see it: n episodes of
// which k were verified and x of those in need. A found part has k = n.
type part struct {
	present bool
	n, k, x float64
	stratum string
}

// rate is the share in need among the verified, 0 for an empty part.
func (p part) rate() float64 {
	if p.k == 0 {
		return 0
	}
	return p.x / p.k
}

// checkStrata refuses negative counts and names the stratum.
func checkStrata(strata []VerificationStratum) error {
	for _, s := range strata {
		for _, c := range []VerificationCell{s.Present, s.Absent} {
			if min(c.FoundNeeded, c.FoundNotNeeded, c.SampledNeeded, c.SampledNotNeeded, c.Unverified) < 0 {
				return argErr("stratum %q has a negative count", s.Name)
			}
		}
	}
	return nil
}

// verificationParts lists the populated parts in an order that depends only on
// the counts, so that neither rounding nor drawing depends on the order of the
// strata.
func verificationParts(strata []VerificationStratum) []part {
	var out []part
	for _, s := range strata {
		for _, side := range []struct {
			present bool
			c       VerificationCell
		}{{true, s.Present}, {false, s.Absent}} {
			found := float64(side.c.FoundNeeded + side.c.FoundNotNeeded)
			if found > 0 {
				out = append(out, part{side.present, found, found, float64(side.c.FoundNeeded), s.Name})
			}
			k := float64(side.c.Sampled())
			if n := k + float64(side.c.Unverified); n > 0 {
				out = append(out, part{side.present, n, k, float64(side.c.SampledNeeded), s.Name})
			}
		}
	}
	return sortParts(out)
}

// sortParts orders parts by their counts alone.
func sortParts(parts []part) []part {
	slices.SortFunc(parts, func(a, b part) int {
		if a.present != b.present {
			if a.present {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(a.n, b.n), cmp.Compare(a.k, b.k), cmp.Compare(a.x, b.x), cmp.Compare(a.stratum, b.stratum))
	})
	return parts
}

// unsampled says why a side cannot be estimated: a populated remainder of which
// nothing was verified. It is empty when the side can be.
func unsampled(parts []part, present bool) string {
	var first part
	others := 0
	for _, p := range parts {
		if p.present != present || p.k > 0 {
			continue
		}
		if first.n == 0 {
			first = p
		} else {
			others++
		}
	}
	if first.n == 0 {
		return ""
	}
	side := "without"
	if present {
		side = "with"
	}
	reason := fmt.Sprintf("none of the %.0f unverified episodes %s the mark in stratum %q was followed up", first.n, side, first.stratum)
	if others > 0 {
		reason += fmt.Sprintf(" (nor in %d more strata)", others)
	}
	return reason
}

// verifiedTable pools the verified episodes whatever their route: the table
// behind the naive figures.
func verifiedTable(strata []VerificationStratum) TwoByTwo {
	var t TwoByTwo
	for _, s := range strata {
		t.TP += s.Present.needed()
		t.FP += s.Present.notNeeded()
		t.FN += s.Absent.needed()
		t.TN += s.Absent.notNeeded()
	}
	return t
}

// mirrorStrata exchanges mark and no mark, need and no need, which turns every
// statement about sensitivity into one about specificity.
func mirrorStrata(strata []VerificationStratum) []VerificationStratum {
	flip := func(c VerificationCell) VerificationCell {
		return VerificationCell{
			FoundNeeded: c.FoundNotNeeded, FoundNotNeeded: c.FoundNeeded,
			SampledNeeded: c.SampledNotNeeded, SampledNotNeeded: c.SampledNeeded,
			Unverified: c.Unverified,
		}
	}
	out := make([]VerificationStratum, len(strata))
	for i, s := range strata {
		out[i] = VerificationStratum{Name: s.Name, Present: flip(s.Absent), Absent: flip(s.Present)}
	}
	return out
}
