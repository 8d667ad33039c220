package replay

import (
	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
)

// Moves says which level either set of rules demands of the same calls.
type Moves struct {
	Calls int64 `json:"calls"`
	// Up and Down are calls whose level rises or falls. Settled were
	// undetermined under the old rules and no longer are, Unsettled the reverse.
	Up        int64 `json:"up"`
	Down      int64 `json:"down"`
	Settled   int64 `json:"settled"`
	Unsettled int64 `json:"unsettled"`
	// Levels in order, undetermined first; Rows has one for each old level, with
	// a count for each new one.
	Levels []string  `json:"levels"`
	Rows   []MoveRow `json:"rows"`
	// Outcomes is reclassification by what the animal needed, at both cuts.
	Outcomes []Outcome `json:"outcomes"`
}

// MoveRow is one old level.
type MoveRow struct {
	Level string  `json:"level"`
	Total int64   `json:"total"`
	To    []int64 `json:"to"`
}

// Outcome is how verified mature animals are moved over all levels, by whether
// they needed care at a cut.
type Outcome struct {
	Cut       string `json:"cut"`
	Label     string `json:"label"`
	Needed    Moved  `json:"needed"`
	NotNeeded Moved  `json:"not_needed"`
	// NetNeeded is (up - down) of those in need, NetNotNeeded (down - up) of the
	// others: above 0 is better. Among verified episodes only.
	NetNeeded    review.Figure `json:"net_needed"`
	NetNotNeeded review.Figure `json:"net_not_needed"`
}

// Moved counts animals by the direction in which their level moves.
type Moved struct {
	Animals int64 `json:"animals"`
	Up      int64 `json:"up"`
	Down    int64 `json:"down"`
}

func (m *Moved) add(old, new int8, n int64) {
	m.Animals += n
	switch {
	case new > old:
		m.Up += n
	case new < old:
		m.Down += n
	}
}

func (b *builder) moves(r *Report) error {
	m := &r.Moves
	for l := range int8(5) {
		m.Levels = append(m.Levels, review.LevelLabel(l))
		m.Rows = append(m.Rows, MoveRow{Level: review.LevelLabel(l), To: make([]int64, 5)})
	}
	for i := range b.rows {
		x := &b.rows[i]
		m.Calls += x.N
		m.Rows[x.OldLevel].Total += x.N
		m.Rows[x.OldLevel].To[x.NewLevel] += x.N
		switch {
		case x.OldLevel == x.NewLevel:
		case x.OldLevel == 0:
			m.Settled += x.N
		case x.NewLevel == 0:
			m.Unsettled += x.N
		case x.NewLevel > x.OldLevel:
			m.Up += x.N
		default:
			m.Down += x.N
		}
	}
	for _, cut := range bothCuts {
		o, err := b.outcome(cut)
		if err != nil {
			return err
		}
		m.Outcomes = append(m.Outcomes, o)
	}
	return nil
}

func (b *builder) outcome(cut int) (Outcome, error) {
	o := Outcome{Cut: review.LevelWord(int8(cut)), Label: review.CutLabel(cut)}
	for i := range b.rows {
		x := &b.rows[i]
		switch need := needAt(x, cut); {
		case !x.Mature || need < 0:
		case need == 1:
			o.Needed.add(x.OldLevel, x.NewLevel, x.N)
		default:
			o.NotNeeded.add(x.OldLevel, x.NewLevel, x.N)
		}
	}
	counts := func(m Moved) metrics.Reclassified { return metrics.Reclassified{N: m.Animals, Up: m.Up, Down: m.Down} }
	net, err := metrics.NetReclassification(counts(o.Needed), counts(o.NotNeeded), b.std.Confidence)
	o.NetNeeded, o.NetNotNeeded = figure(net.Needed), figure(net.NotNeeded)
	return o, err
}
