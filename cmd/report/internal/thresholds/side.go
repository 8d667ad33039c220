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

// Side is the readings of a group in some months, ready for metrics: by value
// and stratum, by value among the verified, and by value whether verified or not.
type Side struct {
	// Days is the length of those months, N the number of readings.
	Days, N float64
	Cells   []metrics.ValueVerification
	Counts  []metrics.ValueCount
	Totals  []metrics.ValueTotal
	// Likened counts readings without an outcome in strata of which nobody was
	// followed up, which are taken to be like those of the next level.
	Likened int64
}

func (b *builder) side(rows []queries.ThresholdValuesRow, days int, dims []int) *Side {
	return NewSide(rows, days, dims, func(stored int) float64 { return b.finding.Value(int32(stored)) })
}

// NewSide gathers rows by value and stratum. dims are the places of the strata
// dimensions to keep beside the level (see KeepDimensions); value turns the
// stored number of a row into the value that is judged.
func NewSide(rows []queries.ThresholdValuesRow, days int, dims []int, value func(stored int) float64) *Side {
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
	s := &Side{Days: float64(days)}
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
		s.add(value(k.value), k.stratum, *by[k])
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
func (s *Side) liken(names map[string]*metrics.VerificationCell) map[string]string {
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
		s.Likened += names[name].Unverified
	}
	return out
}

func (s *Side) add(value float64, stratum string, c metrics.VerificationCell) {
	s.Cells = append(s.Cells, metrics.ValueVerification{Value: value, Stratum: levelWord(stratum), VerificationCell: c})
	needed, well := c.FoundNeeded+c.SampledNeeded, c.FoundNotNeeded+c.SampledNotNeeded
	if k := len(s.Counts) - 1; k < 0 || s.Counts[k].Value != value {
		s.Counts = append(s.Counts, metrics.ValueCount{Value: value})
		s.Totals = append(s.Totals, metrics.ValueTotal{Value: value})
	}
	k := len(s.Counts) - 1
	s.Counts[k].Needed += needed
	s.Counts[k].NotNeeded += well
	s.Totals[k].Episodes += c.Total()
	s.N += float64(c.Total())
}

// unverified is how many readings of the k-th value have no known need.
func (s *Side) unverified(k int) int64 {
	return s.Totals[k].Episodes - s.Counts[k].Needed - s.Counts[k].NotNeeded
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

// KeepDimensions decides within which recorded properties outcomes are taken to
// be missing by chance: the level, and as many others as leave every stratum
// with an unknown outcome at least least followed up. The strata file says which
// are given up, and in which order.
func KeepDimensions(rows []queries.ThresholdValuesRow, meta queries.Meta, least int) (dims []int, given []string) {
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

// at judges one threshold on a side, corrected.
func (b *builder) at(s *Side, th threshold) (Rates, error) {
	sens, spec, err := s.Judge(th.Positive, b.correction())
	return Rates{review.FigureOf(sens), review.FigureOf(spec)}, err
}

// Judge gives the corrected sensitivity and specificity of a rule that marks some
// values. The values are first reduced to marked and not marked, so that any
// rule is a point of a curve.
func (s *Side) Judge(marked func(value float64) bool, opt metrics.CorrectionOptions) (sens, spec metrics.Estimate, err error) {
	two := slices.Clone(s.Cells)
	n := 0
	for i := range two {
		if marked(two[i].Value) {
			two[i].Value = 1
			n++
		} else {
			two[i].Value = 0
		}
	}
	if n == 0 || n == len(two) { // the draws could not move
		return s.ofVerified(marked, opt.Conf)
	}
	curve, err := metrics.CorrectedROC(two, metrics.HighIsBad, metrics.WithinStratum, opt)
	if err != nil {
		return sens, spec, err
	}
	if !curve.Estimable() {
		none := metrics.Estimate{Conf: opt.Conf, NotEstimable: curve.NotEstimable, Method: metrics.MethodCorrectedROC}
		return none, none, nil
	}
	for _, p := range curve.Points {
		if p.Threshold.HasUpper && p.Threshold.Upper == 1 {
			return p.Sensitivity, p.Specificity, nil
		}
	}
	return sens, spec, fmt.Errorf("the curve of a rule that marks %d cells has no point for it", n)
}

// ofVerified judges a rule that marks nothing or everything.
func (s *Side) ofVerified(marked func(value float64) bool, conf float64) (sens, spec metrics.Estimate, err error) {
	var t metrics.TwoByTwo
	for _, c := range s.Counts {
		if marked(c.Value) {
			t.TP, t.FP = t.TP+c.Needed, t.FP+c.NotNeeded
		} else {
			t.FN, t.TN = t.FN+c.Needed, t.TN+c.NotNeeded
		}
	}
	if sens, err = metrics.Sensitivity(t, conf); err != nil {
		return sens, spec, err
	}
	if spec, err = metrics.Specificity(t, conf); err != nil {
		return sens, spec, err
	}
	for _, e := range []*metrics.Estimate{&sens, &spec} {
		e.Warnings = append(e.Warnings, "no reading or every reading is marked; the limits are those of the verified")
	}
	return sens, spec, nil
}

// naive judges one threshold among the verified.
func (b *builder) naive(s *Side, th threshold) (Rates, error) {
	c, err := metrics.AccuracyAt(s.Counts, th, b.opt.Review.Confidence)
	return Rates{review.FigureOf(c.Sensitivity), review.FigureOf(c.Specificity)}, err
}

// load is how many readings a threshold marks, a day and as shares.
func (b *builder) load(s *Side, th threshold) (perDay, marked, on review.Figure, err error) {
	var in, at int64
	for _, v := range s.Totals {
		if th.Positive(v.Value) {
			in += v.Episodes
		}
		if th.HasLower && v.Value == th.Lower || th.HasUpper && v.Value == th.Upper {
			at += v.Episodes
		}
	}
	conf := b.opt.Review.Confidence
	day, err := metrics.ReferralsPerDay(th, s.Days, s.Totals, conf)
	if err != nil {
		return
	}
	m, err := metrics.Wilson(in, int64(s.N), conf)
	if err != nil {
		return
	}
	o, err := metrics.Wilson(at, int64(s.N), conf)
	return review.FigureOf(day), review.FigureOf(m), review.FigureOf(o), err
}
