package metrics

import "math"

// Methods of the limits of an ordinal association.
const (
	MethodGamma  Method = "Goodman-Kruskal gamma, large-sample limits"
	MethodSomers Method = "Somers' D, large-sample limits"
	MethodTauB   Method = "Kendall tau-b, large-sample limits"
)

// Association measures how well the order of one ordinal scale follows the
// other, in -1..1, from pairs of calls.
type Association struct {
	// Concordant and Discordant count pairs of calls that the two scales put
	// in the same, and in opposite, order; pairs tied on either are in neither.
	Concordant, Discordant float64
	// Gamma is (C - D) / (C + D): ties left out, so it flatters coarse scales.
	Gamma Estimate
	// RowOnColumn is Somers' D of the row scale given the column scale:
	// (C - D) / pairs that differ in the column. With advised rows and needed
	// columns: of two animals with different need, how much more often is the
	// order of the advice right than wrong.
	RowOnColumn Estimate
	// ColumnOnRow is Somers' D the other way round.
	ColumnOnRow Estimate
	// TauB is Kendall's tau-b, (C - D) / the geometric mean of both.
	TauB Estimate
}

// OrdinalAssociation computes gamma, both Somers' D and Kendall's tau-b of a
// table of counts whose rows and columns are both ordered.
//
// table[i][j] counts calls at rank i of one scale and j of the other; it need
// not be square but needs two rows and two columns at least. Limits are value
// +- z se with the standard error that does not assume independence, clipped
// to [-1, 1]. A measure whose pairs do not occur is not estimable. A perfect
// order has se 0: a warning says that the limits then have no width. It
// returns ErrArgument for a ragged table, a negative count or a conf outside
// (0, 1). Cost grows with the square of the cells, not with the calls.
//
// Source: Goodman & Kruskal (1954, 1963) J Am Stat Assoc 49:732-764 and
// 58:310-364; Somers (1962) Am Sociol Rev 27:799-811; Kendall (1945)
// Biometrika 33:239-251; standard errors as in Brown & Benedetti (1977) J Am
// Stat Assoc 72:309-315.
func OrdinalAssociation(table [][]int64, conf float64) (Association, error) {
	if err := checkOrderedTable(table); err != nil {
		return Association{}, err
	}
	if err := checkConf(conf); err != nil {
		return Association{}, err
	}
	o := newOrdinalPairs(table)
	z := twoSidedZ(conf)
	return Association{
		Concordant: o.p / 2, Discordant: o.q / 2,
		Gamma:       o.gamma(conf, z),
		RowOnColumn: o.somers(conf, z, true),
		ColumnOnRow: o.somers(conf, z, false),
		TauB:        o.tauB(conf, z),
	}, nil
}

func checkOrderedTable(table [][]int64) error {
	if len(table) < 2 || len(table[0]) < 2 {
		return argErr("an ordered table needs at least 2 rows and 2 columns")
	}
	for i, row := range table {
		if len(row) != len(table[0]) {
			return argErr("row %d has %d counts, expected %d", i+1, len(row), len(table[0]))
		}
		for j, c := range row {
			if c < 0 {
				return argErr("row %d, column %d holds %d, expected a count of 0 or more", i+1, j+1, c)
			}
		}
	}
	return nil
}

// ordinalPairs holds what all four measures share. p and q count each pair
// twice, as the published variances do.
type ordinalPairs struct {
	cells      []ordinalCell
	n, p, q    float64
	rows, cols []float64 // margins
	wr, wc     float64   // twice the pairs that differ in row, in column
}

// ordinalCell is one non-empty cell with the calls concordant and discordant
// to it.
type ordinalCell struct {
	row, col  int
	n         float64
	con, disc float64
}

func newOrdinalPairs(table [][]int64) ordinalPairs {
	o := ordinalPairs{rows: make([]float64, len(table)), cols: make([]float64, len(table[0]))}
	for i, row := range table {
		for j, c := range row {
			if c == 0 {
				continue
			}
			o.cells = append(o.cells, ordinalCell{row: i, col: j, n: float64(c)})
			o.rows[i] += float64(c)
			o.cols[j] += float64(c)
			o.n += float64(c)
		}
	}
	for a := range o.cells {
		x := &o.cells[a]
		for _, y := range o.cells {
			switch s := (x.row - y.row) * (x.col - y.col); {
			case s > 0:
				x.con += y.n
			case s < 0:
				x.disc += y.n
			}
		}
		o.p += x.n * x.con
		o.q += x.n * x.disc
	}
	o.wr, o.wc = o.n*o.n, o.n*o.n
	for _, r := range o.rows {
		o.wr -= r * r
	}
	for _, c := range o.cols {
		o.wc -= c * c
	}
	return o
}

func (o ordinalPairs) gamma(conf, z float64) Estimate {
	both := o.p + o.q
	if both == 0 {
		return notEstimable(conf, MethodGamma, "no two calls differ on both scales")
	}
	var sum float64
	for _, c := range o.cells {
		d := o.q*c.con - o.p*c.disc
		sum += c.n * d * d
	}
	return associationEstimate((o.p-o.q)/both, 4*math.Sqrt(sum)/(both*both), conf, z, MethodGamma)
}

// somers is Somers' D of the rows given the columns, or the other way round.
func (o ordinalPairs) somers(conf, z float64, rowOnColumn bool) Estimate {
	w, margin := o.wr, func(c ordinalCell) float64 { return o.rows[c.row] }
	if rowOnColumn {
		w, margin = o.wc, func(c ordinalCell) float64 { return o.cols[c.col] }
	}
	if w == 0 {
		return notEstimable(conf, MethodSomers, "all calls have the same level on the scale that the pairs come from")
	}
	var sum float64
	for _, c := range o.cells {
		d := w*(c.con-c.disc) - (o.p-o.q)*(o.n-margin(c))
		sum += c.n * d * d
	}
	return associationEstimate((o.p-o.q)/w, 2*math.Sqrt(sum)/(w*w), conf, z, MethodSomers)
}

func (o ordinalPairs) tauB(conf, z float64) Estimate {
	if o.wr == 0 || o.wc == 0 {
		return notEstimable(conf, MethodTauB, "all calls have the same level on one of the scales")
	}
	w := math.Sqrt(o.wr) * math.Sqrt(o.wc)
	t := (o.p - o.q) / w
	// Each cell's pull on t, centred, so that large tables lose no digits.
	pull := func(c ordinalCell) float64 {
		return (2*w*(c.con-c.disc) + t*(o.rows[c.row]*o.wc+o.cols[c.col]*o.wr)) / (w * w)
	}
	mean := 0.0
	for _, c := range o.cells {
		mean += c.n * pull(c) / o.n
	}
	variance := 0.0
	for _, c := range o.cells {
		d := pull(c) - mean
		variance += c.n * d * d
	}
	return associationEstimate(t, math.Sqrt(variance), conf, z, MethodTauB)
}

func associationEstimate(value, se, conf, z float64, m Method) Estimate {
	value = clampUnit(value)
	e := Estimate{
		Value: value, Low: clampUnit(value - z*se), High: clampUnit(value + z*se),
		Conf: conf, Method: m,
	}
	// A perfect order leaves only rounding in the standard error.
	if se < 1e-9 {
		e.Warnings = append(e.Warnings, "the order is perfect in these calls, so the large-sample limits have no width")
	}
	return e
}

// clampUnit keeps a measure of agreement or association within -1..1.
func clampUnit(v float64) float64 { return math.Max(-1, math.Min(1, v)) }
