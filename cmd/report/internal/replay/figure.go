package replay

import (
	"fmt"
	"math"
	"strings"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
)

// rounded keeps nine decimals: fused multiply-add makes the last digits differ
// between processors, and a dossier has the same bytes everywhere.
func rounded(x float64) float64 { return math.Round(x*1e9) / 1e9 }

// sides are the words of package metrics for the pairs of answers, and ours.
var sides = strings.NewReplacer(
	"marked by both", "sent in under both", "marked by the first only", "newly sent in", "marked by the second only", "newly not sent in",
	"marked by neither", "sent in under neither", "the first rule set", "the proposal", "the second rule set", "the current rules",
	"the two rule sets", "both sets of rules")

// figure dresses an estimate.
func figure(e metrics.Estimate) review.Figure {
	e.NotEstimable, e.Warnings = sides.Replace(e.NotEstimable), stepped(e.Warnings)
	for _, x := range []*float64{&e.Value, &e.Low, &e.High, &e.Numerator, &e.Denominator} {
		*x = rounded(*x)
	}
	return review.FigureOf(e)
}

// thinSteps are the shares of unverified episodes in thin cells that a figure warns
// of, as in the review: in steps, many figures share a few footnotes.
var thinSteps = []float64{0.5, 0.2, 0.05}

// stepped puts the thin share of a corrected figure into steps; a share below the
// last is left out.
func stepped(warnings []string) []string {
	var out []string
	for _, w := range warnings {
		var thin, all, least int64
		if n, _ := fmt.Sscanf(w, "%d of %d unverified episodes are in cells with fewer than %d", &thin, &all, &least); n != 3 {
			out = append(out, w)
			continue
		}
		for _, step := range thinSteps {
			if float64(thin) >= step*float64(all) {
				out = append(out, fmt.Sprintf("at least %.0f %% of the episodes without an outcome lie in cells with fewer than %d followed up", 100*step, least))
				break
			}
		}
	}
	return out
}

// bounds dresses a range.
func bounds(r metrics.Range) review.Range {
	return review.RangeOf(metrics.Range{Low: rounded(r.Low), High: rounded(r.High), Undefined: r.Undefined})
}

// times multiplies an estimate by a known positive number, such as calls a month.
func times(e metrics.Estimate, k float64) metrics.Estimate {
	e.Value, e.Low, e.High = e.Value*k, e.Low*k, e.High*k
	e.Numerator, e.Denominator = 0, 0
	return e
}

// Number is a number of episodes, and the same as a rate.
type Number struct {
	// Known are those whose need is known; Number adds what is expected of the
	// others, within Range whatever they were like.
	Known  int64         `json:"known"`
	Number review.Figure `json:"number"`
	Range  review.Range  `json:"range"`
	// Per1000 is for each 1,000 mature calls, PerMonth for each mature month.
	Per1000  review.Figure `json:"per_1000"`
	PerMonth review.Figure `json:"per_month"`
}

func (b *builder) number(known int64, e metrics.Estimate, r metrics.Range, calls int64) Number {
	n := Number{Known: known, Number: figure(e), Range: bounds(r), Per1000: figure(e), PerMonth: figure(e)}
	if e.Estimable() && calls > 0 && b.std.MatureMonths > 0 {
		n.Per1000, n.PerMonth = figure(times(e, 1000/float64(calls))), figure(times(e, 1/b.std.MatureMonths))
	}
	return n
}
