package metrics

import "math"

// LevelMatrix counts verified calls by the level advised and the level that
// the vet found was needed. Levels are ordered, the most urgent first, so an
// index that is larger is less urgent. Ranks, not names, carry the order.
type LevelMatrix struct {
	// Levels names the levels, the most urgent first.
	Levels []string
	// Counts[i][j] counts calls advised level i whose needed level was j.
	Counts [][]int64
}

// check refuses a matrix that is not square, has fewer than two levels, a
// missing or repeated name, or a negative count.
func (m LevelMatrix) check() error {
	if len(m.Levels) != len(m.Counts) {
		return argErr("%d level names for %d rows of counts", len(m.Levels), len(m.Counts))
	}
	seen := make(map[string]bool, len(m.Levels))
	for i, name := range m.Levels {
		if name == "" || seen[name] {
			return argErr("level %d is %q, expected a name that no other level has", i+1, name)
		}
		seen[name] = true
	}
	return checkSquareCounts(m.Counts)
}

// checkSquareCounts refuses anything but a square table of two or more
// categories with counts of zero or more.
func checkSquareCounts(table [][]int64) error {
	if len(table) < 2 {
		return argErr("table has %d rows, expected at least 2", len(table))
	}
	for i, row := range table {
		if len(row) != len(table) {
			return argErr("row %d has %d counts, expected %d (a square table)", i+1, len(row), len(table))
		}
		for j, c := range row {
			if c < 0 {
				return argErr("row %d, column %d holds %d, expected a count of 0 or more", i+1, j+1, c)
			}
		}
	}
	return nil
}

// Total is the number of calls in the matrix.
func (m LevelMatrix) Total() int64 {
	return m.countWhere(func(advised, needed int) bool { return true })
}

// countWhere sums the cells for which in holds.
func (m LevelMatrix) countWhere(in func(advised, needed int) bool) int64 {
	var n int64
	for i, row := range m.Counts {
		for j, c := range row {
			if in(i, j) {
				n += c
			}
		}
	}
	return n
}

// AtCut folds the matrix at a cut: levels 0 to cut count as escalated
// (advised) and as in need (found). A cut of the last level would escalate
// everything, so cut runs from 0 to len(Levels)-2; anything else, or a matrix
// that does not pass its checks, is ErrArgument.
func (m LevelMatrix) AtCut(cut int) (TwoByTwo, error) {
	if err := m.check(); err != nil {
		return TwoByTwo{}, err
	}
	if cut < 0 || cut > len(m.Levels)-2 {
		return TwoByTwo{}, argErr("cut %d, expected 0 to %d", cut, len(m.Levels)-2)
	}
	cell := func(escalated, need bool) int64 {
		return m.countWhere(func(i, j int) bool { return (i <= cut) == escalated && (j <= cut) == need })
	}
	return TwoByTwo{
		TP: cell(true, true), FP: cell(true, false),
		FN: cell(false, true), TN: cell(false, false),
	}, nil
}

// ExactLevel estimates the share of calls advised exactly the level needed,
// with Clopper-Pearson limits. An empty matrix is not estimable.
func ExactLevel(m LevelMatrix, conf float64) (Estimate, error) {
	return levelShare(m, conf, func(i, j int) bool { return i == j })
}

// WithinLevels estimates the share of all calls advised within distance
// levels of the level needed; distance 1 is "within one level". Limits are
// Clopper-Pearson's. A distance below 0 is ErrArgument.
func WithinLevels(m LevelMatrix, distance int, conf float64) (Estimate, error) {
	if distance < 0 {
		return Estimate{}, argErr("distance %d, expected 0 or more levels", distance)
	}
	return levelShare(m, conf, func(i, j int) bool { return i-j <= distance && j-i <= distance })
}

// UnderByLevels estimates the share of all calls advised at least by levels
// less urgent than needed (by = 1: any under-triage; by = 2: the gross ones).
// This is under-triage per all calls over every level at once; UnderTriage
// gives the rate at one cut. Limits are Clopper-Pearson's. A by below 1 is
// ErrArgument.
func UnderByLevels(m LevelMatrix, by int, conf float64) (Estimate, error) {
	if by < 1 {
		return Estimate{}, argErr("under-triage by %d levels, expected 1 or more", by)
	}
	return levelShare(m, conf, func(i, j int) bool { return i-j >= by })
}

// OverByLevels estimates the share of all calls advised at least by levels
// more urgent than needed. See UnderByLevels.
func OverByLevels(m LevelMatrix, by int, conf float64) (Estimate, error) {
	if by < 1 {
		return Estimate{}, argErr("over-triage by %d levels, expected 1 or more", by)
	}
	return levelShare(m, conf, func(i, j int) bool { return j-i >= by })
}

func levelShare(m LevelMatrix, conf float64, in func(advised, needed int) bool) (Estimate, error) {
	if err := m.check(); err != nil {
		return Estimate{}, err
	}
	return ClopperPearson(m.countWhere(in), m.Total(), conf)
}

// MethodMeanT names the limits of a mean by Student's t.
const MethodMeanT Method = "mean, Student t"

// MeanLevelError estimates the mean of (advised - needed) in levels: above 0
// the line advises less urgently than needed, below 0 more. With absolute
// true it is the mean distance without sign. Levels are taken as equally
// spaced, which only a reader who accepts that should use.
//
// Limits are those of a mean by Student's t with n - 1 degrees of freedom,
// clipped to the possible range; fewer than 2 calls are not estimable, and
// calls that all miss by the same distance carry a warning instead of width.
func MeanLevelError(m LevelMatrix, absolute bool, conf float64) (Estimate, error) {
	if err := m.check(); err != nil {
		return Estimate{}, err
	}
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	n := float64(m.Total())
	if n < 2 {
		return notEstimable(conf, MethodMeanT, "%d verified calls, at least 2 are needed", m.Total()), nil
	}
	far := float64(len(m.Levels) - 1)
	low := -far
	if absolute {
		low = 0
	}
	var sum, sumSq float64
	for i, row := range m.Counts {
		for j, c := range row {
			d := float64(i - j)
			if absolute {
				d = math.Abs(d)
			}
			sum += d * float64(c)
			sumSq += d * d * float64(c)
		}
	}
	mean := sum / n
	variance := math.Max(0, (sumSq-n*mean*mean)/(n-1))
	half := twoSidedT(conf, n-1) * math.Sqrt(variance/n)
	e := Estimate{
		Value: mean, Low: math.Max(low, mean-half), High: math.Min(far, mean+half),
		Conf: conf, Method: MethodMeanT, Numerator: sum, Denominator: n,
	}
	if variance == 0 {
		e.Warnings = append(e.Warnings, "every call has the same distance, so the limits have no width")
	}
	return e, nil
}
