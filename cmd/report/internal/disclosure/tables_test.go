package disclosure

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
)

// attack is what an outsider can do: solve for the least and greatest value of
// a hidden cell by linear programming, from the shown cells and the sums. It
// shares nothing with Bounds.
func attack(t *testing.T, table CountTable, hidden Hidden, i, j int) (low, high float64) {
	t.Helper()
	var cells [][2]int
	for r := range hidden {
		for c := range hidden[r] {
			if hidden[r][c] {
				cells = append(cells, [2]int{r, c})
			}
		}
	}
	// One equation a known sum in which a cell is hidden. The rows' and the
	// columns' equations may depend on each other; dependent ones are dropped.
	var rows [][]float64
	var sums []float64
	add := func(of func([2]int) bool) {
		coefficients, sum, any := make([]float64, len(cells)), 0.0, false
		for k, c := range cells {
			if of(c) {
				coefficients[k], any = 1, true
				sum += float64(table.Cells[c[0]][c[1]])
			}
		}
		if any && independent(append(rows, coefficients)) {
			rows, sums = append(rows, coefficients), append(sums, sum)
		}
	}
	if table.RowSums {
		for r := range table.Cells {
			add(func(c [2]int) bool { return c[0] == r })
		}
	}
	if table.ColumnSums {
		for k := range table.Cells[0] {
			add(func(c [2]int) bool { return c[1] == k })
		}
	}
	target := make([]float64, len(cells))
	for k, c := range cells {
		if c == [2]int{i, j} {
			target[k] = 1
		}
	}
	solve := func(sign float64) (float64, bool) {
		if len(rows) == 0 {
			return math.Inf(1), false
		}
		// A cell in no known sum is free; the solver asks for none such.
		goal := make([]float64, len(cells))
		for k := range goal {
			goal[k] = sign * target[k]
		}
		// A slack that bounds everything keeps the problem bounded.
		const roof = 1e6
		n := len(cells)
		a := mat.NewDense(len(rows)+1, n+1, nil)
		b := make([]float64, len(rows)+1)
		for r := range rows {
			for k, v := range rows[r] {
				a.Set(r, k, v)
			}
			b[r] = sums[r]
		}
		for k := range n + 1 {
			a.Set(len(rows), k, 1)
		}
		b[len(rows)] = roof
		value, _, err := lp.Simplex(append(goal, 0), a, b, 1e-9, nil)
		if err != nil {
			t.Fatalf("linear programme: %v", err)
		}
		return sign * value, sign*value < roof/2
	}
	low, _ = solve(1)
	high, bounded := solve(-1)
	if !bounded {
		high = math.Inf(1)
	}
	if len(rows) == 0 {
		low = 0
	}
	return low, high
}

// independent reports whether the last row is no combination of those before.
func independent(rows [][]float64) bool {
	m := make([][]float64, len(rows))
	for i := range rows {
		m[i] = append([]float64(nil), rows[i]...)
	}
	rank := 0
	for c := range m[0] {
		p := -1
		for r := rank; r < len(m); r++ {
			if math.Abs(m[r][c]) > 1e-9 {
				p = r
				break
			}
		}
		if p < 0 {
			continue
		}
		m[rank], m[p] = m[p], m[rank]
		for r := rank + 1; r < len(m); r++ {
			f := m[r][c] / m[rank][c]
			for k := range m[r] {
				m[r][k] -= f * m[rank][k]
			}
		}
		rank++
		if rank == len(m) {
			break
		}
	}
	return rank == len(rows)
}

func TestSuppressedTablesWithstandLinearProgramming(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 7))
	const minimum = 5
	tables, attacked, secondary := 0, 0, 0
	for range 400 {
		table := CountTable{RowSums: rng.IntN(3) > 0, ColumnSums: rng.IntN(3) > 0}
		cols := 2 + rng.IntN(4)
		rows := 2 + rng.IntN(5)
		for range rows {
			row := make([]int64, cols)
			for c := range row {
				switch rng.IntN(4) {
				case 0:
					row[c] = rng.Int64N(minimum)
				default:
					row[c] = rng.Int64N(200)
				}
			}
			table.Cells = append(table.Cells, row)
		}
		hidden, err := Suppress(table, minimum)
		if err != nil {
			t.Fatal(err)
		}
		tables++
		for i := range table.Cells {
			for j, n := range table.Cells[i] {
				small := n > 0 && n < minimum
				if small && !hidden[i][j] {
					t.Fatalf("%+v: cell %d, %d of %d is shown", table, i, j, n)
				}
				if !hidden[i][j] {
					continue
				}
				low, high := attack(t, table, hidden, i, j)
				ourLow, ourHigh := table.Bounds(hidden, i, j)
				if math.Abs(low-float64(ourLow)) > 1e-6 || (ourHigh == Unbounded) != math.IsInf(high, 1) || ourHigh != Unbounded && math.Abs(high-float64(ourHigh)) > 1e-6 {
					t.Fatalf("%+v hidden %v: cell %d, %d lies in %v to %v by linear programming, %d to %d by flow", table, hidden, i, j, low, high, ourLow, ourHigh)
				}
				if !small {
					secondary++
					continue
				}
				attacked++
				if low > 1+1e-6 || high < float64(table.ceiling(i, j, minimum))-1e-6 {
					t.Fatalf("%+v hidden %v: cell %d, %d of %d is found to lie in %v to %v", table, hidden, i, j, n, low, high)
				}
			}
		}
	}
	if attacked < 300 || secondary < 100 {
		t.Errorf("%d tables, %d small cells attacked, %d hidden beside them: too few to say anything", tables, attacked, secondary)
	}
	t.Logf("%d tables, %d small cells attacked, %d hidden beside them", tables, attacked, secondary)
}

// Primary suppression alone gives the cell away: the attack must find it.
func TestPrimarySuppressionAloneIsNotEnough(t *testing.T) {
	table := CountTable{Cells: [][]int64{{3, 40}, {60, 70}}, RowSums: true, ColumnSums: true}
	hidden := Hidden{{true, false}, {false, false}}
	if low, high := attack(t, table, hidden, 0, 0); low != 3 || high != 3 {
		t.Errorf("the attack finds %v to %v, want 3", low, high)
	}
	safe, err := Suppress(table, 5)
	if err != nil || safe.Count() != 4 {
		t.Errorf("hidden %v, %v", safe, err)
	}
}

func TestSuppressEdges(t *testing.T) {
	for name, c := range map[string]struct {
		table CountTable
		want  int
	}{
		"nothing small":         {CountTable{Cells: [][]int64{{0, 5}, {9, 0}}, RowSums: true, ColumnSums: true}, 0},
		"no sums known":         {CountTable{Cells: [][]int64{{1, 50}, {60, 70}}}, 1},
		"column sums only":      {CountTable{Cells: [][]int64{{1, 50}, {60, 70}, {80, 90}}, ColumnSums: true}, 2},
		"two small, one enough": {CountTable{Cells: [][]int64{{1, 50}, {4, 70}}, ColumnSums: true}, 2},
		"everything small":      {CountTable{Cells: [][]int64{{1, 1}, {1, 1}}, RowSums: true, ColumnSums: true}, 4},
	} {
		h, err := Suppress(c.table, 5)
		if err != nil || h.Count() != c.want {
			t.Errorf("%s: hidden %v, %v; want %d cells", name, h, err, c.want)
		}
	}
	for _, bad := range [][][]int64{{{1, 2}, {3}}, {{-1, 2}}} {
		if _, err := Suppress(CountTable{Cells: bad}, 5); err == nil {
			t.Errorf("%v: no error", bad)
		}
	}
}
