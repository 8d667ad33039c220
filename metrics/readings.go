package metrics

import "math"

// ReadingPattern counts animals that were read in the same way: by how many
// readers into each category. It is the input of every agreement of more than
// two readers, and needs no more room for a million animals than for ten.
type ReadingPattern struct {
	// Readings[k] is the number of readers who chose category k. Readers who
	// did not read the animal are in no category, so the sum may differ from
	// one pattern to the next.
	Readings []int64
	// Animals is how many animals have this pattern.
	Animals int64
}

// PatternsOfTable turns a table of two readers into patterns, one for each
// cell that is not empty. ErrArgument as for CohenKappa.
func PatternsOfTable(table [][]int64) ([]ReadingPattern, error) {
	if err := checkSquareCounts(table); err != nil {
		return nil, err
	}
	var patterns []ReadingPattern
	for i, row := range table {
		for j, c := range row {
			if c == 0 {
				continue
			}
			p := ReadingPattern{Readings: make([]int64, len(table)), Animals: c}
			p.Readings[i]++
			p.Readings[j]++
			patterns = append(patterns, p)
		}
	}
	return patterns, nil
}

// checkPatterns refuses patterns of different width, of fewer than two
// categories, and negative counts. It returns the number of categories.
func checkPatterns(patterns []ReadingPattern) (int, error) {
	if len(patterns) == 0 {
		return 0, nil
	}
	q := len(patterns[0].Readings)
	if q < 2 {
		return 0, argErr("patterns have %d categories, expected at least 2", q)
	}
	for i, p := range patterns {
		if len(p.Readings) != q || p.Animals < 0 {
			return 0, argErr("pattern %d has %d categories and %d animals, expected %d categories and 0 or more animals",
				i+1, len(p.Readings), p.Animals, q)
		}
		for k, r := range p.Readings {
			if r < 0 {
				return 0, argErr("pattern %d, category %d holds %d readings, expected 0 or more", i+1, k+1, r)
			}
		}
	}
	return q, nil
}

// multiReader holds what the coefficients of many readers share. Sums run over
// patterns, each weighted by its animals.
type multiReader struct {
	rows []readRow
	w    [][]float64
	// n counts animals with any reading, pairs those with two or more, and
	// whole those of pairs on which all readers agree.
	n, pairs, whole float64
	// share[k] is the mean over animals of the share of readings in k.
	share []float64
	// pa is the mean agreement of two readers of the same animal.
	pa float64
}

// readRow is one pattern with its own agreement.
type readRow struct {
	animals, readers float64
	share            []float64
	agree            float64 // 0 with a single reader
}

func newMultiReader(patterns []ReadingPattern, w [][]float64) multiReader {
	m := multiReader{w: w, share: make([]float64, len(w))}
	for _, p := range patterns {
		row := readRow{animals: float64(p.Animals), share: make([]float64, len(w))}
		top := int64(0)
		for _, r := range p.Readings {
			row.readers += float64(r)
			top = max(top, r)
		}
		if p.Animals == 0 || row.readers == 0 {
			continue
		}
		for k, r := range p.Readings {
			row.share[k] = float64(r) / row.readers
			m.share[k] += row.animals * row.share[k]
			if row.readers >= 2 {
				weighted := -1.0 // a reader does not agree with himself
				for l, s := range p.Readings {
					weighted += w[k][l] * float64(s)
				}
				row.agree += float64(r) * weighted / (row.readers * (row.readers - 1))
			}
		}
		m.n += row.animals
		if row.readers >= 2 {
			m.pairs += row.animals
			m.pa += row.animals * row.agree
			if float64(top) == row.readers {
				m.whole += row.animals
			}
		}
		m.rows = append(m.rows, row)
	}
	for k := range m.share {
		m.share[k] /= m.n
	}
	m.pa /= m.pairs
	return m
}

// missing says why there is nothing to estimate, or is empty.
func (m multiReader) missing() string {
	switch {
	case m.pairs == 0:
		return "no animal was read by two readers"
	case m.n < 2:
		return "a single animal was read, at least 2 are needed"
	}
	return ""
}

// chanceCorrected estimates (pa - pe) / (1 - pe) over animals. peOf gives the
// chance agreement of one animal's shares against all, and its mean over
// animals is pe. The standard error is the linear one of Gwet (2008).
func (m multiReader) chanceCorrected(pe float64, peOf func(share []float64) float64, conf float64, method Method) (e Estimate, se float64) {
	value := (m.pa - pe) / (1 - pe)
	sum := 0.0
	for _, row := range m.rows {
		own := 0.0
		if row.readers >= 2 {
			own = m.n / m.pairs * (row.agree - pe) / (1 - pe)
		}
		d := own - 2*(1-value)*(peOf(row.share)-pe)/(1-pe) - value
		sum += row.animals * d * d
	}
	se = math.Sqrt(sum / (m.n * (m.n - 1)))
	e = Estimate{Value: clampUnit(value), Conf: conf, Method: method, Denominator: m.n}
	if se > 1e-9 {
		half := twoSidedT(conf, m.n-1) * se
		e.Low, e.High = clampUnit(value-half), clampUnit(value+half)
		return e, se
	}
	// All animals alike: limits of the share read alike, chance held.
	low, high := clopperPearsonLimits(m.whole, m.pairs, conf)
	e.Low = clampUnit(math.Min(value, (low-pe)/(1-pe)))
	e.High = clampUnit(math.Max(value, (high-pe)/(1-pe)))
	e.Warnings = append(e.Warnings, "the large-sample standard error is 0; limits are those of the share of animals read alike")
	return e, 0
}
