package metrics

import "sort"

// LevelRow is the line of one level in the per-level table.
type LevelRow struct {
	Level string
	// Advised and Needed count the calls advised, and found to need, the level.
	Advised, Needed int64
	// Right is the share of those needing the level that were advised it.
	Right Estimate
	// UnderOfNeeded and OverOfNeeded are the shares of those needing the
	// level that were advised a less, or a more, urgent one (per need).
	UnderOfNeeded, OverOfNeeded Estimate
	// UnderOfAdvised and OverOfAdvised are the shares of those advised the
	// level that needed a more, or a less, urgent one (per decision).
	UnderOfAdvised, OverOfAdvised Estimate
}

// LevelTable gives one row a level, the most urgent first, each share with
// Clopper-Pearson limits. A level that nobody needed, or nobody was advised,
// has shares that are not estimable. Errors as for LevelMatrix.AtCut.
func LevelTable(m LevelMatrix, conf float64) ([]LevelRow, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	rows := make([]LevelRow, len(m.Levels))
	for l := range rows {
		row := LevelRow{
			Level:   m.Levels[l],
			Advised: m.countWhere(func(i, j int) bool { return i == l }),
			Needed:  m.countWhere(func(i, j int) bool { return j == l }),
		}
		shares := []struct {
			to *Estimate
			in func(advised, needed int) bool
			of int64
		}{
			{&row.Right, func(i, j int) bool { return i == l && j == l }, row.Needed},
			{&row.UnderOfNeeded, func(i, j int) bool { return j == l && i > l }, row.Needed},
			{&row.OverOfNeeded, func(i, j int) bool { return j == l && i < l }, row.Needed},
			{&row.UnderOfAdvised, func(i, j int) bool { return i == l && j < l }, row.Advised},
			{&row.OverOfAdvised, func(i, j int) bool { return i == l && j > l }, row.Advised},
		}
		for _, s := range shares {
			e, err := ClopperPearson(m.countWhere(s.in), s.of, conf)
			if err != nil {
				return nil, err
			}
			*s.to = e
		}
		rows[l] = row
	}
	return rows, nil
}

// LevelCell is one cell of a level matrix that went wrong.
type LevelCell struct {
	// Advised and Needed are ranks; 0 is the most urgent level.
	Advised, Needed int
	// Count is the number of calls, however few.
	Count int64
}

// WorstUnderTriage lists the non-empty cells in which the advice was at least
// by levels less urgent than needed: the farthest first, and among equals the
// most urgent need first. These cells are case lists to read, not rates. A by
// below 1 is ErrArgument.
func WorstUnderTriage(m LevelMatrix, by int) ([]LevelCell, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	if by < 1 {
		return nil, argErr("under-triage by %d levels, expected 1 or more", by)
	}
	var cells []LevelCell
	for i, row := range m.Counts {
		for j, c := range row {
			if i-j >= by && c > 0 {
				cells = append(cells, LevelCell{Advised: i, Needed: j, Count: c})
			}
		}
	}
	sort.Slice(cells, func(a, b int) bool {
		x, y := cells[a], cells[b]
		if dx, dy := x.Advised-x.Needed, y.Advised-y.Needed; dx != dy {
			return dx > dy
		}
		return x.Needed < y.Needed
	})
	return cells, nil
}
