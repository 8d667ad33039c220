package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

func TestOrdinalAssociation(t *testing.T) {
	c := checkByID(t, "levels", "TL-05")
	var in struct{ Table [][]int64 }
	c.input(t, &in)
	a, err := OrdinalAssociation(in.Table, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "concordant", a.Concordant)
	c.near(t, "discordant", a.Discordant)
	c.near(t, "goodman_kruskal_gamma", a.Gamma.Value)
	c.near(t, "somers_d_given_on_needed", a.RowOnColumn.Value)
	c.near(t, "kendall_tau_b", a.TauB.Value)
	c.allRead(t)
}

// deltaSE is the large-sample standard error of a statistic of a table's
// shares, by numerical derivatives: no formula shared with the code.
func deltaSE(shares [][]float64, n float64, f func([][]float64) float64) float64 {
	const h = 1e-5
	var mean, square float64
	for i := range shares {
		for j := range shares[i] {
			p := shares[i][j]
			shares[i][j] = p + h
			up := f(shares)
			shares[i][j] = p - h
			down := f(shares)
			shares[i][j] = p
			g := (up - down) / (2 * h)
			mean += p * g
			square += p * g * g
		}
	}
	return math.Sqrt((square - mean*mean) / n)
}

// pairsOf counts pairs in shares: concordant, discordant, and those that
// differ in the row and in the column.
func pairsOf(p [][]float64) (con, disc, rowDiffer, colDiffer float64) {
	for i := range p {
		for j := range p[i] {
			for a := range p {
				for b := range p[a] {
					w := p[i][j] * p[a][b]
					switch s := (i - a) * (j - b); {
					case s > 0:
						con += w
					case s < 0:
						disc += w
					}
					if i != a {
						rowDiffer += w
					}
					if j != b {
						colDiffer += w
					}
				}
			}
		}
	}
	return con, disc, rowDiffer, colDiffer
}

func TestAssociationAgainstDelta(t *testing.T) {
	r := rand.New(rand.NewPCG(14, 1))
	z := twoSidedZ(0.95)
	for range 20 {
		rows, cols := 2+r.IntN(3), 2+r.IntN(3)
		table, shares, n := make([][]int64, rows), make([][]float64, rows), 0.0
		for i := range table {
			table[i], shares[i] = make([]int64, cols), make([]float64, cols)
			for j := range table[i] {
				table[i][j] = int64(1 + r.IntN(60))
				if i == j {
					table[i][j] += 60
				}
				n += float64(table[i][j])
			}
		}
		for i := range table {
			for j := range table[i] {
				shares[i][j] = float64(table[i][j]) / n
			}
		}
		a, err := OrdinalAssociation(table, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for name, tc := range map[string]struct {
			got Estimate
			f   func([][]float64) float64
		}{
			"gamma":         {a.Gamma, func(p [][]float64) float64 { c, d, _, _ := pairsOf(p); return (c - d) / (c + d) }},
			"row on column": {a.RowOnColumn, func(p [][]float64) float64 { c, d, _, w := pairsOf(p); return (c - d) / w }},
			"column on row": {a.ColumnOnRow, func(p [][]float64) float64 { c, d, w, _ := pairsOf(p); return (c - d) / w }},
			"tau-b":         {a.TauB, func(p [][]float64) float64 { c, d, v, w := pairsOf(p); return (c - d) / math.Sqrt(v*w) }},
		} {
			if want := tc.f(shares); math.Abs(tc.got.Value-want) > 1e-10 {
				t.Errorf("%s of %v = %v, pair by pair %v", name, table, tc.got.Value, want)
			}
			want := deltaSE(shares, n, tc.f)
			if got := (tc.got.High - tc.got.Low) / (2 * z); tc.got.High < 1 && tc.got.Low > -1 && math.Abs(got-want) > 1e-5*want {
				t.Errorf("%s of %v: se %v, by numerical derivatives %v", name, table, got, want)
			}
			checkSane(t, name, tc.got, -1, 1)
		}
	}
}

func TestAssociationSymmetries(t *testing.T) {
	table := [][]int64{{9, 4, 1}, {3, 8, 6}}
	flipped := [][]int64{{1, 4, 9}, {6, 8, 3}}
	turned := [][]int64{{9, 3}, {4, 8}, {1, 6}}
	a, _ := OrdinalAssociation(table, 0.95)
	f, _ := OrdinalAssociation(flipped, 0.95)
	u, _ := OrdinalAssociation(turned, 0.95)
	for name, pair := range map[string][2]float64{
		"gamma turns sign":    {a.Gamma.Value, -f.Gamma.Value},
		"limits turn too":     {a.Gamma.Low, -f.Gamma.High},
		"tau-b turns sign":    {a.TauB.Value, -f.TauB.Value},
		"Somers' D swaps":     {a.RowOnColumn.Value, u.ColumnOnRow.Value},
		"gamma is symmetric":  {a.Gamma.High, u.Gamma.High},
		"tau-b is symmetric":  {a.TauB.Low, u.TauB.Low},
		"tau-b is the middle": {a.TauB.Value, math.Sqrt(a.RowOnColumn.Value * a.ColumnOnRow.Value)},
	} {
		if math.Abs(pair[0]-pair[1]) > 1e-12 {
			t.Errorf("%s: %v and %v", name, pair[0], pair[1])
		}
	}
}

func TestAssociationEdges(t *testing.T) {
	perfect, err := OrdinalAssociation([][]int64{{5, 0, 0}, {0, 6, 0}, {0, 0, 7}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for name, e := range map[string]Estimate{"gamma": perfect.Gamma, "Somers": perfect.RowOnColumn, "tau-b": perfect.TauB} {
		if math.Abs(e.Value-1) > 1e-12 || len(e.Warnings) == 0 {
			t.Errorf("%s of a perfect order: %+v, want 1 with a warning", name, e)
		}
	}
	one, err := OrdinalAssociation([][]int64{{5, 3}, {0, 0}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for name, e := range map[string]Estimate{"gamma": one.Gamma, "column on row": one.ColumnOnRow, "tau-b": one.TauB} {
		if e.Estimable() {
			t.Errorf("%s with one row used: %+v, want not estimable", name, e)
		}
	}
	for name, table := range map[string][][]int64{
		"one row": {{1, 2}}, "one column": {{1}, {2}}, "ragged": {{1, 2}, {1}}, "negative": {{1, -2}, {1, 1}},
	} {
		if _, err := OrdinalAssociation(table, 0.95); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
	}
}

func TestSeriousByLevel(t *testing.T) {
	c := checkByID(t, "levels", "TL-03")
	var in struct {
		N, Serious []int64
	}
	c.input(t, &in)
	o := LevelOutcomes{Levels: []string{"1", "2", "3", "4", "5"}, Calls: in.N, Serious: in.Serious}
	rates, err := SeriousByLevel(o, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	var value, low, high []float64
	for _, e := range rates {
		value, low, high = append(value, e.Value), append(low, e.Low), append(high, e.High)
	}
	c.nearAll(t, "rate_by_level", value)
	c.nearAll(t, "lower_by_level", low)
	c.nearAll(t, "upper_by_level", high)
	trend, err := SeriousTrend(o)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "trend.chisq", trend.Statistic)
	c.near(t, "trend.p", trend.P)

	lowLevels, err := o.AtCut(2) // levels 4 and 5 are not escalated
	if err != nil {
		t.Fatal(err)
	}
	top, _ := o.AtCut(0)
	two, _ := o.AtCut(1)
	for key, xn := range map[string][2]int64{
		"undertriage_of_serious": {lowLevels.FN, lowLevels.TP + lowLevels.FN},
		"serious_among_low":      {lowLevels.FN, lowLevels.FN + lowLevels.TN},
		"overtriage_of_top":      {top.FP, top.TP + top.FP},
		"sens_level_1_2":         {two.TP, two.TP + two.FN},
		"spec_level_1_2":         {two.TN, two.TN + two.FP},
	} {
		cp, err := ClopperPearson(xn[0], xn[1], 0.95)
		if err != nil {
			t.Fatal(err)
		}
		c.estimate(t, key+".est", key+".clopper_pearson", cp)
		w, _ := Wilson(xn[0], xn[1], 0.95)
		c.estimate(t, key+".est", key+".wilson", w)
	}
	// The area under the curve of the levels is Somers' D of level on outcome,
	// moved from -1..1 to 0..1.
	table := make([][]int64, len(in.N))
	for i := range in.N {
		table[i] = []int64{in.Serious[i], in.N[i] - in.Serious[i]}
	}
	a, err := OrdinalAssociation(table, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "auc_levels", (a.RowOnColumn.Value+1)/2)
	c.allRead(t)
}

func TestSeriousEdges(t *testing.T) {
	levels := []string{"a", "b"}
	for name, o := range map[string]LevelOutcomes{
		"nothing serious": {Levels: levels, Calls: []int64{5, 6}, Serious: []int64{0, 0}},
		"all serious":     {Levels: levels, Calls: []int64{5, 6}, Serious: []int64{5, 6}},
		"one level used":  {Levels: levels, Calls: []int64{5, 0}, Serious: []int64{2, 0}},
		"no calls":        {Levels: levels, Calls: []int64{0, 0}, Serious: []int64{0, 0}},
	} {
		if c, err := SeriousTrend(o); err != nil || c.NotEstimable == "" {
			t.Errorf("%s: %+v, %v; want no test", name, c, err)
		}
	}
	for name, o := range map[string]LevelOutcomes{
		"more serious than calls": {Levels: levels, Calls: []int64{5, 6}, Serious: []int64{6, 0}},
		"negative":                {Levels: levels, Calls: []int64{5, 6}, Serious: []int64{-1, 0}},
		"lengths":                 {Levels: levels, Calls: []int64{5}, Serious: []int64{1}},
	} {
		if _, err := SeriousTrend(o); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
		if _, err := o.AtCut(0); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: cut: %v, want ErrArgument", name, err)
		}
	}
}

func TestMultinomialShares(t *testing.T) {
	c := checkByID(t, "levels", "TL-04")
	var in struct{ Counts []int64 }
	c.input(t, &in)
	shares, err := MultinomialShares(in.Counts, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	var low, high, cpLow, cpHigh []float64
	for i, e := range shares {
		low, high = append(low, e.Low), append(high, e.High)
		cp, err := ClopperPearson(in.Counts[i], int64(e.Denominator), 0.95)
		if err != nil {
			t.Fatal(err)
		}
		cpLow, cpHigh = append(cpLow, cp.Low), append(cpHigh, cp.High)
		checkSane(t, "share", e, 0, 1)
	}
	c.nearAll(t, "goodman_lower", low)
	c.nearAll(t, "goodman_upper", high)
	c.nearAll(t, "per_cell_clopper_lower", cpLow)
	c.nearAll(t, "per_cell_clopper_upper", cpHigh)
	c.allRead(t)

	if shares, _ := MultinomialShares([]int64{0, 12}, 0.95); shares[0].Low != 0 || shares[0].High <= 0 || shares[1].High != 1 {
		t.Errorf("an empty category: %+v", shares)
	}
	if shares, err := MultinomialShares([]int64{0, 0}, 0.95); err != nil || shares[0].Estimable() {
		t.Errorf("no calls: %+v, %v", shares, err)
	}
	for name, counts := range map[string][]int64{"one": {3}, "negative": {3, -1}} {
		if _, err := MultinomialShares(counts, 0.95); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
	}
}

// All shares at once lie within their limits in at least 95 of 100 tables.
func TestMultinomialCoverage(t *testing.T) {
	runs := 3000
	if testing.Short() {
		runs = 600
	}
	truth := []float64{0.5, 0.25, 0.15, 0.1}
	r := rand.New(rand.NewPCG(15, 1))
	all := 0
	for range runs {
		counts := make([]int64, len(truth))
		for range 200 {
			u, i := r.Float64(), 0
			for u > truth[i] && i < len(truth)-1 {
				u -= truth[i]
				i++
			}
			counts[i]++
		}
		shares, _ := MultinomialShares(counts, 0.95)
		covered := true
		for i, e := range shares {
			covered = covered && e.Low <= truth[i] && truth[i] <= e.High
		}
		if covered {
			all++
		}
	}
	if got := float64(all) / float64(runs); got < 0.935 || got > 0.98 {
		t.Errorf("simultaneous coverage %.3f, want about 0.95 or a little more", got)
	}
}

// The limits of all four measures hold the truth of a known table.
func TestAssociationCoverage(t *testing.T) {
	runs := 2000
	if testing.Short() {
		runs = 500
	}
	truth := [][]float64{{0.12, 0.08, 0.03}, {0.08, 0.2, 0.1}, {0.02, 0.1, 0.27}}
	con, disc, rowDiffer, colDiffer := pairsOf(truth)
	r := rand.New(rand.NewPCG(18, 1))
	covered := map[string]int{}
	for range runs {
		table := [][]int64{make([]int64, 3), make([]int64, 3), make([]int64, 3)}
		for range 200 {
			u, cell := r.Float64(), 0
			for cell < 8 && u >= truth[cell/3][cell%3] {
				u -= truth[cell/3][cell%3]
				cell++
			}
			table[cell/3][cell%3]++
		}
		a, err := OrdinalAssociation(table, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for name, tc := range map[string]struct {
			e     Estimate
			truth float64
		}{
			"gamma":         {a.Gamma, (con - disc) / (con + disc)},
			"row on column": {a.RowOnColumn, (con - disc) / colDiffer},
			"column on row": {a.ColumnOnRow, (con - disc) / rowDiffer},
			"tau-b":         {a.TauB, (con - disc) / math.Sqrt(rowDiffer*colDiffer)},
		} {
			if tc.e.Low <= tc.truth && tc.truth <= tc.e.High {
				covered[name]++
			}
		}
	}
	for _, name := range []string{"gamma", "row on column", "column on row", "tau-b"} {
		coverageNear95(t, name, float64(covered[name])/float64(runs))
	}
}
