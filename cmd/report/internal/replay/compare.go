package replay

import (
	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
)

// Comparison sets both sets of rules side by side at one cut.
type Comparison struct {
	Cut   string `json:"cut"`
	Label string `json:"label"`
	Below string `json:"below"`
	// Calls are all of the period; Up are newly at or above the cut, Down newly
	// below it.
	Calls   int64 `json:"calls"`
	OldSent int64 `json:"old_sent"`
	NewSent int64 `json:"new_sent"`
	Up      int64 `json:"up"`
	Down    int64 `json:"down"`
	// ExtraPerDay are referrals beyond those of the old rules; below 0 fewer.
	ExtraPerDay  review.Figure `json:"extra_per_day"`
	ExtraPer1000 review.Figure `json:"extra_per_1000"`

	// Mature episodes with an advice on record carry everything below; NoAdvice
	// are mature ones without.
	Mature   int64 `json:"mature"`
	NoAdvice int64 `json:"no_advice"`
	// Verified pairs by need; UpKnown and DownKnown those that cross the cut.
	Needed     Pair  `json:"needed"`
	NotNeeded  Pair  `json:"not_needed"`
	UpKnown    int64 `json:"up_known"`
	DownKnown  int64 `json:"down_known"`
	Unverified int64 `json:"unverified"`

	Naive     Pairwise `json:"naive"`
	Corrected Pairwise `json:"corrected"`
	// Bounds hold whatever the unverified were like.
	SensitivityRange review.Range `json:"sensitivity_difference_range"`
	SpecificityRange review.Range `json:"specificity_difference_range"`
	// P of McNemar's mid-p test on verified episodes; nil if it cannot be made.
	SensitivityP *float64 `json:"sensitivity_p,omitempty"`
	SpecificityP *float64 `json:"specificity_p,omitempty"`

	// Gained and Lost are animals in need newly sent in and newly not; Extra and
	// Spared animals not in need.
	Gained Number `json:"gained"`
	Lost   Number `json:"lost"`
	Extra  Number `json:"extra"`
	Spared Number `json:"spared"`
	// ExtraPerCaught are further animals not in need for each further one in need.
	ExtraPerCaught review.Figure `json:"extra_per_caught"`

	Worth     []Worth       `json:"worth"`
	BreakEven review.Figure `json:"break_even"`

	// raw figures for the verdict
	sensitivity, sensDiff, specDiff, extra, perCaught metrics.Estimate
}

// Pair counts verified episodes by what either set of rules would do.
type Pair struct {
	Both    int64 `json:"both"`
	OnlyNew int64 `json:"only_new"`
	OnlyOld int64 `json:"only_old"`
	Neither int64 `json:"neither"`
}

func pairCounts(c metrics.PairedCounts) Pair {
	return Pair{Both: c.Both, OnlyNew: c.FirstOnly, OnlyOld: c.SecondOnly, Neither: c.Neither}
}

// Pairwise is accuracy under both sets of rules; differences are new minus old.
type Pairwise struct {
	OldSensitivity        review.Figure `json:"old_sensitivity"`
	NewSensitivity        review.Figure `json:"new_sensitivity"`
	SensitivityDifference review.Figure `json:"sensitivity_difference"`
	OldSpecificity        review.Figure `json:"old_specificity"`
	NewSpecificity        review.Figure `json:"new_specificity"`
	SpecificityDifference review.Figure `json:"specificity_difference"`
}

// Worth is net benefit at one threshold probability, in animals in need found
// for each 1,000 calls.
type Worth struct {
	// Threshold is the chance of need at which a visit would just be accepted,
	// Visits the same as needless visits for one animal found.
	Threshold float64 `json:"threshold"`
	Visits    float64 `json:"visits"`
	// Naive is the difference among verified episodes; the rest is corrected.
	Naive      review.Figure `json:"naive"`
	Old        review.Figure `json:"old"`
	New        review.Figure `json:"new"`
	Difference review.Figure `json:"difference"`
	// All is the net benefit of sending everyone in.
	All review.Figure `json:"all"`
}

// plausible are threshold probabilities: from "fifty needless visits are worth
// one animal in need" to "three are". A line that knows its own range reads the row.
var plausible = []float64{0.02, 0.05, 0.10, 0.15, 0.20, 0.25}

// compare judges one way at one cut.
func (b *builder) compare(w way, cut int) (Comparison, error) {
	c := Comparison{Cut: review.LevelWord(int8(cut)), Label: review.CutLabel(cut), Below: review.BelowLabel(cut)}
	var p pairs
	var sent metrics.PairedCounts
	for i := range b.rows {
		r := &b.rows[i]
		old, new := w.levels(r)
		pair := pairOf(old >= int8(cut), new >= int8(cut))
		*[4]*int64{&sent.Both, &sent.FirstOnly, &sent.SecondOnly, &sent.Neither}[pair] += r.N
		switch {
		case !r.Mature:
		case r.Level == 0:
			c.NoAdvice += r.N
		default:
			c.Mature += r.N
			p.add(r, pair, needAt(r, cut))
		}
	}
	c.Calls, c.OldSent, c.NewSent, c.Up, c.Down = sent.N(), sent.Both+sent.SecondOnly, sent.Both+sent.FirstOnly, sent.FirstOnly, sent.SecondOnly
	extra, err := metrics.PairedDifferenceTango(sent, b.std.Confidence)
	if err != nil {
		return c, err
	}
	c.extra = extra
	if b.std.Days > 0 {
		c.extra = times(extra, float64(c.Calls)/b.std.Days)
	}
	c.ExtraPerDay, c.ExtraPer1000 = figure(c.extra), figure(times(extra, 1000))
	strata, err := b.strata(&p)
	if err != nil {
		return c, err
	}
	return c, b.accuracy(&c, strata)
}

// accuracy fills what rests on needs that are known.
func (b *builder) accuracy(c *Comparison, strata []metrics.PairVerificationStratum) error {
	x, err := b.correct(strata, b.std.Confidence)
	if err != nil {
		return err
	}
	limits, err := metrics.ComparePairBounds(strata)
	if err != nil {
		return err
	}
	c.Needed, c.NotNeeded, c.Unverified = pairCounts(x.Verified.Needed), pairCounts(x.Verified.NotNeeded), x.Unverified
	c.UpKnown, c.DownKnown = c.Needed.OnlyNew+c.NotNeeded.OnlyNew, c.Needed.OnlyOld+c.NotNeeded.OnlyOld
	n := x.Naive
	c.Naive = Pairwise{figure(n.SecondSensitivity), figure(n.FirstSensitivity), figure(n.SensitivityDifference),
		figure(n.SecondSpecificity), figure(n.FirstSpecificity), figure(n.SpecificityDifference)}
	c.Corrected = Pairwise{figure(x.SecondSensitivity), figure(x.FirstSensitivity), figure(x.SensitivityDifference),
		figure(x.SecondSpecificity), figure(x.FirstSpecificity), figure(x.SpecificityDifference)}
	c.SensitivityRange, c.SpecificityRange = bounds(limits.SensitivityDifference), bounds(limits.SpecificityDifference)
	c.SensitivityP, c.SpecificityP = p(n.SensitivityTest), p(n.SpecificityTest)
	c.Gained = b.number(c.Needed.OnlyNew, x.Gained, limits.Gained, c.Mature)
	c.Lost = b.number(c.Needed.OnlyOld, x.Lost, limits.Lost, c.Mature)
	c.Extra = b.number(c.NotNeeded.OnlyNew, x.Extra, limits.Extra, c.Mature)
	c.Spared = b.number(c.NotNeeded.OnlyOld, x.Spared, limits.Spared, c.Mature)
	c.ExtraPerCaught = figure(x.ExtraPerGained)
	c.sensitivity, c.sensDiff, c.specDiff, c.perCaught = x.FirstSensitivity, x.SensitivityDifference, x.SpecificityDifference, x.ExtraPerGained
	return b.worth(c, x)
}

func p(t metrics.TestResult) *float64 {
	if t.NotEstimable != "" {
		return nil
	}
	v := rounded(t.P)
	return &v
}

func (b *builder) worth(c *Comparison, x corrected) error {
	for _, w := range x.worth {
		naive, err := metrics.NetBenefitDifference(x.Verified, w.Threshold, b.std.Confidence)
		if err != nil {
			return err
		}
		c.Worth = append(c.Worth, Worth{Threshold: w.Threshold, Visits: rounded((1 - w.Threshold) / w.Threshold), Naive: figure(times(naive, 1000)),
			Old: figure(times(w.Second, 1000)), New: figure(times(w.First, 1000)), Difference: figure(times(w.Difference, 1000)), All: figure(times(w.All, 1000))})
	}
	even, err := metrics.BreakEven(x.Verified, b.std.Confidence)
	c.BreakEven = figure(even)
	return err
}
