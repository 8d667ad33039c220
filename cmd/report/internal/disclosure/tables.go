package disclosure

import (
	"fmt"
	"math"
)

// CountTable is a table of counts before or after suppression.
type CountTable struct {
	// Cells by row and column.
	Cells [][]int64
	// RowSums and ColumnSums say whether an outsider knows the sums of rows or
	// columns, because they are published beside the table or follow from
	// something that is. With either, the grand total is known too.
	RowSums, ColumnSums bool
}

// Hidden marks the cells that are not published.
type Hidden [][]bool

// Count is how many cells are hidden.
func (h Hidden) Count() int {
	n := 0
	for _, row := range h {
		for _, x := range row {
			if x {
				n++
			}
		}
	}
	return n
}

// Suppress hides every cell from 1 to minimum-1 (primary suppression) and as
// many others as it takes (secondary suppression) that the sums do not give a
// hidden small cell away: from all that is published, an outsider must find it
// possible that the cell is 0 or 1, and that it is minimum-1 or more. A cell of
// 0 is shown. A known sum below minimum is its publisher's disclosure: its cells
// are only kept possible up to that sum. It returns an error for a ragged table
// or a negative count.
//
// Which other cells are hidden is decided greedily, smallest count first, and
// at the end each secondary cell that turned out to be needless is shown again;
// the result is safe, but not always the smallest possible. The bounds are
// exact, see Bounds.
//
// Source: the problem and the audit by bounds are those of Hundepool et al.
// (2012) Statistical Disclosure Control, Wiley, chapter 4.
func Suppress(t CountTable, minimum int64) (Hidden, error) {
	hidden, err := t.primary(minimum)
	if err != nil {
		return nil, err
	}
	if hidden.Count() == 0 {
		return hidden, nil
	}
	small := hidden.copy()
	for {
		at := t.exposed(small, hidden, minimum)
		if at == nil {
			break
		}
		if !t.hideBeside(hidden, at[0], at[1]) {
			hideAll(hidden)
			break
		}
	}
	t.showNeedless(small, hidden, minimum)
	return hidden, nil
}

func (t CountTable) primary(minimum int64) (Hidden, error) {
	hidden := make(Hidden, len(t.Cells))
	for i, row := range t.Cells {
		if len(row) != len(t.Cells[0]) {
			return nil, fmt.Errorf("row %d: expected %d cells, found %d", i, len(t.Cells[0]), len(row))
		}
		hidden[i] = make([]bool, len(row))
		for j, n := range row {
			if n < 0 {
				return nil, fmt.Errorf("row %d, column %d: a count is negative (%d)", i, j, n)
			}
			hidden[i][j] = n > 0 && n < minimum
		}
	}
	return hidden, nil
}

func (h Hidden) copy() Hidden {
	out := make(Hidden, len(h))
	for i := range h {
		out[i] = append([]bool(nil), h[i]...)
	}
	return out
}

func hideAll(h Hidden) {
	for i := range h {
		for j := range h[i] {
			h[i][j] = true
		}
	}
}

// exposed finds a small cell whose bounds say too much, nil if there is none.
func (t CountTable) exposed(small, hidden Hidden, minimum int64) []int {
	for i := range t.Cells {
		for j := range t.Cells[i] {
			if !small[i][j] {
				continue
			}
			low, high := t.Bounds(hidden, i, j)
			if low > 1 || high < t.ceiling(i, j, minimum) {
				return []int{i, j}
			}
		}
	}
	return nil
}

// ceiling is what an outsider must find possible of a small cell at least.
func (t CountTable) ceiling(i, j int, minimum int64) int64 {
	row, column := int64(0), int64(0)
	for c := range t.Cells[i] {
		row += t.Cells[i][c]
	}
	for r := range t.Cells {
		column += t.Cells[r][j]
	}
	top := minimum - 1
	if t.RowSums {
		top = min(top, row)
	}
	if t.ColumnSums {
		top = min(top, column)
	}
	return top
}

// hideBeside hides the smallest shown cell that takes part in a known sum with
// cell (i, j), or else the smallest of all; zeros only if nothing else is left.
// It reports whether there was one.
func (t CountTable) hideBeside(hidden Hidden, i, j int) bool {
	best, place := int64(math.MaxInt64), [2]int{-1, -1}
	for r := range t.Cells {
		for c, n := range t.Cells[r] {
			if hidden[r][c] {
				continue
			}
			cost := n
			if !(t.RowSums && r == i || t.ColumnSums && c == j) {
				// Another row or column closes the cycle; prefer one in which
				// something is hidden already.
				cost += 1 << 40
			}
			if n == 0 {
				cost += 1 << 50
			}
			if cost < best {
				best, place = cost, [2]int{r, c}
			}
		}
	}
	if place[0] < 0 {
		return false
	}
	hidden[place[0]][place[1]] = true
	return true
}

// showNeedless shows secondary cells again, largest first, while all small ones
// stay protected.
func (t CountTable) showNeedless(small, hidden Hidden, minimum int64) {
	for {
		best, place := int64(-1), [2]int{}
		for i := range hidden {
			for j := range hidden[i] {
				if !hidden[i][j] || small[i][j] || t.Cells[i][j] <= best {
					continue
				}
				hidden[i][j] = false
				if t.exposed(small, hidden, minimum) == nil {
					best, place = t.Cells[i][j], [2]int{i, j}
				}
				hidden[i][j] = true
			}
		}
		if best < 0 {
			return
		}
		hidden[place[0]][place[1]] = false
	}
}

// Unbounded is the upper bound of a cell that no sum limits.
const Unbounded = math.MaxInt64

// Bounds are the least and greatest whole numbers that a hidden cell can be,
// given all shown cells and the known sums. A shown cell is its own bounds.
//
// The hidden cells with the known sums form a network: a cell is an edge between
// its row and its column, and where a row's sums are not known its node may give
// and take without limit. The true counts are one flow; how far a cell can rise
// or fall is the greatest flow that can be sent round the other way.
func (t CountTable) Bounds(hidden Hidden, i, j int) (low, high int64) {
	x := t.Cells[i][j]
	if !hidden[i][j] {
		return x, x
	}
	up := t.slack(hidden, i, j, true)
	down := t.slack(hidden, i, j, false)
	high = Unbounded
	if up < Unbounded-x {
		high = x + up
	}
	return max(0, x-down), high
}

// slack is by how much cell (i, j) can rise, or fall, if others give way.
//
// Nodes are the rows, the columns and one for everything without a known sum.
// To raise the cell by one, its column must give one back elsewhere: some other
// hidden cell of the column falls, then one of that cell's row rises, and so on
// until row i gives one back.
func (t CountTable) slack(hidden Hidden, i, j int, rise bool) int64 {
	rows, cols := len(t.Cells), len(t.Cells[0])
	free := rows + cols
	n := free + 1
	capacity := make([][]int64, n)
	for k := range capacity {
		capacity[k] = make([]int64, n)
	}
	for r := range rows {
		for c := range cols {
			if !hidden[r][c] || r == i && c == j {
				continue
			}
			// From row to column the cell rises, from column to row it falls.
			capacity[r][rows+c] = Unbounded
			capacity[rows+c][r] = t.Cells[r][c]
		}
	}
	for r := range rows {
		if !t.RowSums {
			capacity[r][free], capacity[free][r] = Unbounded, Unbounded
		}
	}
	for c := range cols {
		if !t.ColumnSums {
			capacity[rows+c][free], capacity[free][rows+c] = Unbounded, Unbounded
		}
	}
	if rise {
		return maxFlow(capacity, rows+j, i)
	}
	return maxFlow(capacity, i, rows+j)
}

// maxFlow is the greatest flow from one node to another, Unbounded if nothing
// limits it. It sends along shortest paths (Edmonds and Karp 1972 J ACM
// 19:248-264); the tables are small.
func maxFlow(capacity [][]int64, from, to int) int64 {
	total := int64(0)
	for {
		before := shortestPath(capacity, from, to)
		if before == nil {
			return total
		}
		least := int64(Unbounded)
		for v := to; v != from; v = before[v] {
			least = min(least, capacity[before[v]][v])
		}
		if least == Unbounded {
			return Unbounded
		}
		for v := to; v != from; v = before[v] {
			u := before[v]
			if capacity[u][v] != Unbounded {
				capacity[u][v] -= least
			}
			if capacity[v][u] != Unbounded {
				capacity[v][u] += least
			}
		}
		total += least
	}
}

// shortestPath gives each node's predecessor on a shortest open path, nil if
// there is none.
func shortestPath(capacity [][]int64, from, to int) []int {
	before := make([]int, len(capacity))
	for i := range before {
		before[i] = -1
	}
	before[from] = from
	queue := []int{from}
	for len(queue) > 0 {
		u := queue[0]
		queue = queue[1:]
		for v := range capacity {
			if capacity[u][v] > 0 && before[v] < 0 {
				before[v] = u
				if v == to {
					return before
				}
				queue = append(queue, v)
			}
		}
	}
	return nil
}
