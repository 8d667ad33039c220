package metrics

import "math"

// MethodKrippendorff names the limits of Krippendorff's alpha.
const MethodKrippendorff Method = "Krippendorff's alpha, jackknife over animals, Student t"

// AlphaScale says how far apart two readings are.
type AlphaScale int

const (
	// AlphaNominal: different is different.
	AlphaNominal AlphaScale = iota + 1
	// AlphaOrdinal: by the number of readings between the two ranks. This is
	// Krippendorff's distance, not a table of weights by rank.
	AlphaOrdinal
	// AlphaInterval: the squared difference of the values.
	AlphaInterval
	// AlphaRatio: the squared difference relative to the sum; values of 0 or more.
	AlphaRatio
)

// KrippendorffAlpha estimates the reliability of readings by any number of
// readers with readings missing: 1 - observed / expected disagreement, the
// latter that of readings paired at random.
//
// values[k] is the value of category k, in ascending order; nominal and ordinal
// scales use their order only. Animals with a single reading are left out.
// Limits are from leaving out one animal at a time, t with animals - 1 degrees
// of freedom, clipped to [-1, 1]; without any disagreement they come from the
// exact limits of the share of animals read alike. Fewer than two animals read
// twice, or a single value throughout, is not estimable. ErrArgument: bad
// patterns or conf, values that are not finite, not ascending or (ratio)
// negative, an unknown scale.
//
// Source: Krippendorff (2011) Computing Krippendorff's alpha-reliability,
// University of Pennsylvania; limits: Tukey's jackknife, as in Efron (1982) The
// Jackknife, the Bootstrap and Other Resampling Plans.
func KrippendorffAlpha(patterns []ReadingPattern, values []float64, scale AlphaScale, conf float64) (Estimate, error) {
	q, err := checkPatterns(patterns)
	if err != nil {
		return Estimate{}, err
	}
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	if scale < AlphaNominal || scale > AlphaRatio {
		return Estimate{}, argErr("scale %d, expected AlphaNominal, AlphaOrdinal, AlphaInterval or AlphaRatio", int(scale))
	}
	if q > 0 && len(values) != q {
		return Estimate{}, argErr("%d values for %d categories", len(values), q)
	}
	for i, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) || (i > 0 && v <= values[i-1]) || (scale == AlphaRatio && v < 0) {
			return Estimate{}, argErr("value %v of category %d, expected finite ascending values (0 or more for a ratio scale)", v, i+1)
		}
	}
	a := newAlphaSums(patterns, values, scale)
	if a.animals < 2 {
		return notEstimable(conf, MethodKrippendorff, "%v animals were read by two readers, at least 2 are needed", a.animals), nil
	}
	value, ok := a.alpha(-1)
	if !ok {
		return notEstimable(conf, MethodKrippendorff, "all readings are the same, so no disagreement was possible"), nil
	}
	return a.estimate(value, conf), nil
}

// alphaSums holds the coincidences that alpha is made of.
type alphaSums struct {
	values  []float64
	scale   AlphaScale
	rows    []ReadingPattern // those with two readings or more
	readers []float64
	margin  []float64 // readings in each category
	// seen[k][l], k < l, counts pairs of different readings of the same animal,
	// each animal weighted so that it counts for its readers.
	seen           [][]float64
	animals, whole float64
}

func newAlphaSums(patterns []ReadingPattern, values []float64, scale AlphaScale) alphaSums {
	a := alphaSums{values: values, scale: scale, margin: make([]float64, len(values)), seen: make([][]float64, len(values))}
	for k := range a.seen {
		a.seen[k] = make([]float64, len(values))
	}
	for _, p := range patterns {
		readers, top := int64(0), int64(0)
		for _, r := range p.Readings {
			readers += r
			top = max(top, r)
		}
		if readers < 2 || p.Animals == 0 {
			continue
		}
		a.rows = append(a.rows, p)
		a.readers = append(a.readers, float64(readers))
		a.animals += float64(p.Animals)
		if top == readers {
			a.whole += float64(p.Animals)
		}
		a.add(len(a.rows)-1, float64(p.Animals))
	}
	return a
}

// add puts times animals of a row into the sums; times may be negative.
func (a *alphaSums) add(row int, times float64) {
	r := a.rows[row].Readings
	for k := range r {
		a.margin[k] += times * float64(r[k])
		for l := k + 1; l < len(r); l++ {
			a.seen[k][l] += times * float64(r[k]*r[l]) / (a.readers[row] - 1)
		}
	}
}

// alpha is the coefficient without one animal of row without (-1: of all).
// It is not ok if the readings left leave nothing to disagree about.
func (a alphaSums) alpha(without int) (value float64, ok bool) {
	if without >= 0 {
		a.add(without, -1)
		defer a.add(without, 1)
	}
	var total, observed, expected float64
	used := 0
	for _, m := range a.margin {
		total += m
		if m > 0 {
			used++
		}
	}
	if used < 2 {
		return 0, false
	}
	for k := range a.margin {
		between := a.margin[k] / 2 // readings from the middle of k to that of l
		for l := k + 1; l < len(a.margin); l++ {
			between += a.margin[l] / 2
			d := a.distance(k, l, between)
			observed += 2 * a.seen[k][l] * d
			expected += 2 * a.margin[k] * a.margin[l] * d
			between += a.margin[l] / 2
		}
	}
	return 1 - (total-1)*observed/expected, true
}

func (a alphaSums) distance(k, l int, between float64) float64 {
	x, y := a.values[k], a.values[l]
	switch a.scale {
	case AlphaNominal:
		return 1
	case AlphaOrdinal:
		return between * between
	case AlphaRatio:
		return (x - y) * (x - y) / ((x + y) * (x + y))
	}
	return (x - y) * (x - y)
}

// estimate puts jackknife limits around alpha.
func (a alphaSums) estimate(value, conf float64) Estimate {
	e := Estimate{Value: clampUnit(value), Conf: conf, Method: MethodKrippendorff, Denominator: a.animals}
	if a.whole == a.animals {
		low, _ := clopperPearsonLimits(a.whole, a.animals, conf)
		e.Low, e.High = clampUnit(1-(1-low)*a.worst()), 1
		e.Warnings = append(e.Warnings, "the readers never disagree; limits are those of the share of animals read alike")
		return e
	}
	var mean, square float64
	for i, p := range a.rows {
		v, ok := a.alpha(i)
		if !ok {
			// All the disagreement hangs on this one animal.
			e.LowUnbounded, e.HighUnbounded = true, true
			e.Warnings = append(e.Warnings, "all variation rests on one animal, so no limits can be given")
			return e
		}
		mean += float64(p.Animals) * (v - value) / a.animals
		square += float64(p.Animals) * (v - value) * (v - value)
	}
	se := math.Sqrt(math.Max(0, square-a.animals*mean*mean) * (a.animals - 1) / a.animals)
	half := twoSidedT(conf, a.animals-1) * se
	e.Low, e.High = clampUnit(value-half), clampUnit(value+half)
	if half == 0 {
		e.Warnings = append(e.Warnings, "every animal was read in the same way, so the limits have no width")
	}
	return e
}

// worst is the loss of alpha if every pair of readings were as far apart as
// the scale in use allows.
func (a alphaSums) worst() float64 {
	var total, expected, far float64
	for _, m := range a.margin {
		total += m
	}
	for k := range a.margin {
		between := a.margin[k] / 2
		for l := k + 1; l < len(a.margin); l++ {
			between += a.margin[l] / 2
			d := a.distance(k, l, between)
			expected += 2 * a.margin[k] * a.margin[l] * d
			if a.margin[k] > 0 && a.margin[l] > 0 {
				far = math.Max(far, d)
			}
			between += a.margin[l] / 2
		}
	}
	return (total - 1) * total * far / expected
}
