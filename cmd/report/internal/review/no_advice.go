package review

import (
	"fmt"

	"hindcheck/metrics"
)

// noAdvice is why nothing can be corrected where no advice is on record.
const noAdvice = "no episode has an advice level on record, and whether an outcome becomes known follows the advice"

// withoutAdvice mends a correction from which n mature episodes were left out,
// because they have no advice level on record. If that were all of them, its
// figures say so instead of speaking of animals that were never in need.
func withoutAdvice(c *metrics.Correction, n int64, all bool) {
	for _, e := range corrections(c) {
		switch {
		case n == 0:
		case all:
			*e = metrics.Estimate{Conf: e.Conf, Method: e.Method, NotEstimable: noAdvice}
		case e.Estimable():
			e.Warnings = append(e.Warnings, fmt.Sprintf("%s without an advice level on record left out", plural(n, "episode", "episodes")))
		}
	}
}

// sign is the naive accuracy of a flag and its bounds. Neither asks what was
// advised, so episodes without an advice count.
func (x corrector) sign(c FlagCounts) (metrics.NaiveAccuracy, metrics.Bounds, error) {
	one := metrics.VerificationStratum{
		Name:    "all",
		Present: metrics.VerificationCell{FoundNeeded: c.Verified.TP, FoundNotNeeded: c.Verified.FP, Unverified: c.Unverified.Present},
		Absent:  metrics.VerificationCell{FoundNeeded: c.Verified.FN, FoundNotNeeded: c.Verified.TN, Unverified: c.Unverified.Absent},
	}
	pooled, err := x.correct([]metrics.VerificationStratum{one}, 0)
	return pooled.Naive, pooled.Bounds, err
}

// mature is how many mature episodes the flag was assessed on.
func (c FlagCounts) mature() int64 {
	v := c.Verified
	return v.TP + v.FP + v.FN + v.TN + c.Unverified.Present + c.Unverified.Absent
}
