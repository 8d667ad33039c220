package thresholds

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
	"hindcheck/pipeline/codes"
	"hindcheck/queries"
)

// threshold is a rule on values.
type threshold = metrics.Threshold

// valueTotal counts the readings of one value, verified or not.
type valueTotal = metrics.ValueTotal

// side is the readings of a group in some months, ready for metrics.
type side struct {
	days   float64
	cells  []metrics.ValueVerification
	counts []metrics.ValueCount
	totals []metrics.ValueTotal
	n      float64
	// likened counts readings without an outcome in strata of which nobody was
	// followed up, which are taken to be like those of the next level.
	likened int64
}

// side gathers the rows that use lets through, by value and stratum.
func (b *builder) side(rows []queries.ThresholdValuesRow, days int, dims []int) *side {
	type key struct {
		value   int
		stratum string
	}
	by := map[key]*metrics.VerificationCell{}
	var keys []key
	for _, r := range rows {
		k := key{r.Value, stratumName(r, dims)}
		c := by[k]
		if c == nil {
			c = &metrics.VerificationCell{}
			by[k] = c
			keys = append(keys, k)
		}
		review.Enter(c, r.Level, r.Route, r.Need, r.N)
	}
	names := map[string]*metrics.VerificationCell{}
	for k, c := range by {
		if names[k.stratum] == nil {
			names[k.stratum] = &metrics.VerificationCell{}
		}
		*names[k.stratum] = names[k.stratum].Add(*c)
	}
	s := &side{days: float64(days)}
	likened := s.liken(names)
	for i, k := range keys {
		if to, ok := likened[k.stratum]; ok {
			moved := key{k.value, to}
			if by[moved] == nil {
				by[moved] = &metrics.VerificationCell{}
				keys[i] = moved
			} else {
				keys[i].stratum = ""
			}
			*by[moved] = by[moved].Add(*by[k])
		}
	}
	keys = slices.DeleteFunc(keys, func(k key) bool { return k.stratum == "" })
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(cmp.Compare(a.value, b.value), strings.Compare(a.stratum, b.stratum))
	})
	for _, k := range keys {
		s.add(b.finding.Value(int32(k.value)), k.stratum, *by[k])
	}
	return s
}

// fewLikened is the largest share of the readings that may lie in strata of
// which nobody was followed up and still be taken to be like their neighbours.
// Above it nothing corrected is estimable.
const fewLikened = 0.2

// liken finds strata with readings without an outcome of which nobody was
// followed up, and the stratum of the other level on the same side of being sent
// in that can stand for them.
func (s *side) liken(names map[string]*metrics.VerificationCell) map[string]string {
	var all, few int64
	out := map[string]string{}
	for name, c := range names {
		all += c.Total()
		if c.Unverified == 0 || c.Sampled() > 0 {
			continue
		}
		few += c.Unverified
		next := string([]byte{map[byte]byte{'1': '2', '2': '1', '3': '4', '4': '3'}[name[0]]}) + name[1:]
		if n := names[next]; n != nil && n.Sampled() > 0 {
			out[name] = next
		}
	}
	if float64(few) > fewLikened*float64(all) {
		return nil
	}
	for name := range out {
		s.likened += names[name].Unverified
	}
	return out
}

func (s *side) add(value float64, stratum string, c metrics.VerificationCell) {
	s.cells = append(s.cells, metrics.ValueVerification{Value: value, Stratum: levelWord(stratum), VerificationCell: c})
	needed, well := c.FoundNeeded+c.SampledNeeded, c.FoundNotNeeded+c.SampledNotNeeded
	if k := len(s.counts) - 1; k < 0 || s.counts[k].Value != value {
		s.counts = append(s.counts, metrics.ValueCount{Value: value})
		s.totals = append(s.totals, metrics.ValueTotal{Value: value})
	}
	k := len(s.counts) - 1
	s.counts[k].Needed += needed
	s.counts[k].NotNeeded += well
	s.totals[k].Episodes += c.Total()
	s.n += float64(c.Total())
}

// unverified is how many readings of the k-th value have no known need.
func (s *side) unverified(k int) int64 {
	return s.totals[k].Episodes - s.counts[k].Needed - s.counts[k].NotNeeded
}

// levelWord writes the level of a stratum's name as a word.
func levelWord(stratum string) string {
	return codes.Level(stratum[0]-'0').String() + stratum[1:]
}

// stratumName is the number of the level with the dimensions that are kept.
func stratumName(r queries.ThresholdValuesRow, dims []int) string {
	var b strings.Builder
	b.WriteByte('0' + byte(r.Level))
	for _, d := range dims {
		b.WriteString(", " + r.Stratum[d])
	}
	return b.String()
}

// keepDimensions decides within which recorded properties outcomes are taken to
// be missing by chance: the level, and as many others as leave every stratum
// with an unknown outcome at least least followed up. The strata file says which
// are given up, and in which order.
func keepDimensions(rows []queries.ThresholdValuesRow, meta queries.Meta, least int) (dims []int, given []string) {
	kept := slices.Clone(meta.Strata)
	order := slices.Clone(meta.Collapse)
	for {
		dims = nil
		for _, name := range kept {
			dims = append(dims, slices.Index(meta.Strata, name))
		}
		if len(order) == 0 || enough(rows, dims, least) {
			return dims, given
		}
		kept = slices.DeleteFunc(kept, func(s string) bool { return s == order[0] })
		given = append(given, order[0])
		order = order[1:]
	}
}

func enough(rows []queries.ThresholdValuesRow, dims []int, least int) bool {
	by := map[string]*metrics.VerificationCell{}
	for _, r := range rows {
		name := stratumName(r, dims)
		if by[name] == nil {
			by[name] = &metrics.VerificationCell{}
		}
		review.Enter(by[name], r.Level, r.Route, r.Need, r.N)
	}
	for _, c := range by {
		if c.Unverified > 0 && c.Sampled() < int64(least) {
			return false
		}
	}
	return true
}

// at judges one threshold on a side, corrected. The values are first reduced to
// marked and not marked, so that any rule is a point of a curve.
func (b *builder) at(s *side, th threshold) (Rates, error) {
	two := make([]metrics.ValueVerification, len(s.cells))
	marked := 0
	for i, c := range s.cells {
		two[i] = c
		two[i].Value = 0
		if th.Positive(c.Value) {
			two[i].Value = 1
			marked++
		}
	}
	if marked == 0 || marked == len(two) { // the draws could not move
		rates, err := b.naive(s, th)
		for _, f := range []*review.Figure{&rates.Sensitivity, &rates.Specificity} {
			f.Warnings = append(f.Warnings, "no reading or every reading is marked; the limits are those of the verified")
		}
		return rates, err
	}
	curve, err := metrics.CorrectedROC(two, metrics.HighIsBad, metrics.WithinStratum, b.correction())
	if err != nil {
		return Rates{}, err
	}
	if !curve.Estimable() {
		none := review.FigureOf(metrics.Estimate{Conf: b.opt.Review.Confidence, NotEstimable: curve.NotEstimable, Method: metrics.MethodCorrectedROC})
		return Rates{none, none}, nil
	}
	for _, p := range curve.Points {
		if p.Threshold.HasUpper && p.Threshold.Upper == 1 {
			return Rates{review.FigureOf(p.Sensitivity), review.FigureOf(p.Specificity)}, nil
		}
	}
	return Rates{}, fmt.Errorf("the curve of threshold %s has no point", th)
}

// naive judges one threshold among the verified.
func (b *builder) naive(s *side, th threshold) (Rates, error) {
	c, err := metrics.AccuracyAt(s.counts, th, b.opt.Review.Confidence)
	return Rates{review.FigureOf(c.Sensitivity), review.FigureOf(c.Specificity)}, err
}

// load is how many readings a threshold marks, a day and as shares.
func (b *builder) load(s *side, th threshold) (perDay, marked, on review.Figure, err error) {
	var in, at int64
	for _, v := range s.totals {
		if th.Positive(v.Value) {
			in += v.Episodes
		}
		if th.HasLower && v.Value == th.Lower || th.HasUpper && v.Value == th.Upper {
			at += v.Episodes
		}
	}
	conf := b.opt.Review.Confidence
	day, err := metrics.ReferralsPerDay(th, s.days, s.totals, conf)
	if err != nil {
		return
	}
	m, err := metrics.Wilson(in, int64(s.n), conf)
	if err != nil {
		return
	}
	o, err := metrics.Wilson(at, int64(s.n), conf)
	return review.FigureOf(day), review.FigureOf(m), review.FigureOf(o), err
}
