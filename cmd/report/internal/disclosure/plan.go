package disclosure

import (
	"fmt"
	"slices"
	"strings"
)

// Plan says what is published of every combination.
type Plan struct {
	// Published is in the order of the combinations that the problem was given.
	Published []Published
	Columns   []ColumnPlan
	// Records and Persons are those of the problem; Classes is how many
	// combinations of published values there are.
	Records, Persons, Classes int64
	// Touched are records with any suppressed cell.
	Touched int64
	// Loss is the weighted share of information lost, 0 to 1.
	Loss float64
	// Exact is whether every node of the lattice was considered; Tried is how
	// many were worked out, Lattice how many there are.
	Exact          bool
	Tried, Lattice int
}

// Published are the values of one combination as they are published.
type Published struct {
	// Values in the order of Config.Columns; Suppressed where a cell is.
	Values []string
	// Class numbers the published combinations from 0.
	Class int
}

// ColumnPlan is what becomes of one quasi-identifier.
type ColumnPlan struct {
	Name, Level string
	// LevelLoss is the share of information that the level loses, Loss that
	// with the suppressed cells.
	LevelLoss, Loss float64
	// Suppressed is in how many records the cell is suppressed.
	Suppressed int64
	// Values are the labels that occur, in order.
	Values []string
}

func (p *Problem) plan(s *solution) *Plan {
	out := &Plan{Records: p.total, Loss: s.loss}
	classes := map[string]int{}
	for j, a := range p.attributes {
		l := a.levels[s.node.levels[j]]
		share := float64(s.suppressed[j]) / float64(p.total)
		out.Columns = append(out.Columns, ColumnPlan{Name: a.column.Name, Level: l.name, LevelLoss: l.loss,
			Loss: share + (1-share)*l.loss, Suppressed: s.suppressed[j], Values: slices.Clone(l.labels)})
	}
	for i := range p.combos {
		row := make([]string, len(p.attributes))
		for j, v := range p.coded[i] {
			l := &p.attributes[j].levels[s.node.levels[j]]
			row[j] = l.labels[l.of[v]]
		}
		for _, j := range p.given(s.node, s.steps[i]) {
			row[j] = Suppressed
		}
		key := fmt.Sprintf("%v %q", p.combos[i].Mature, row)
		at, ok := classes[key]
		if !ok {
			at = len(classes)
			classes[key] = at
		}
		out.Published = append(out.Published, Published{Values: row, Class: at})
		out.Persons += p.combos[i].Persons
		if s.steps[i] > 0 {
			out.Touched += p.combos[i].Records
		}
	}
	out.Classes = int64(len(classes))
	return out
}

// Refusal says why nothing may be published, in numbers of records and names of
// columns only.
type Refusal struct {
	K, L, Records, Persons int64
	// Columns are those that would have to be suppressed beyond their limit
	// even in the plan that comes nearest.
	Columns []RefusedColumn
	// TooFew is whether there are fewer persons than K in all, or too little
	// diversity.
	TooFew bool
	// Unsafe are records that stand in classes too small or too uniform even at
	// the coarsest levels; Causes are how many of them would not if a column were
	// left out.
	Unsafe int64
	Causes []Cause
}

// RefusedColumn is a column whose limit cannot be kept.
type RefusedColumn struct {
	Name         string
	Records      int64
	Share, Limit float64
}

// Cause is what leaving out one column would mend.
type Cause struct {
	Column string
	Mended int64
}

// Error says it in a few lines.
func (r *Refusal) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "the target of %d persons and %d sensitive values behind every combination is not met within the limits of the privacy file, so nothing was published", r.K, r.L)
	if r.TooFew {
		fmt.Fprintf(&b, "\n  there are %d records of %d persons in all, too few or too much alike", r.Records, r.Persons)
	}
	for _, c := range r.Columns {
		fmt.Fprintf(&b, "\n  column %s would be suppressed in %d of %d records (%.1f %%, at most %.1f %% allowed)", c.Name, c.Records, r.Records, 100*c.Share, 100*c.Limit)
	}
	fmt.Fprintf(&b, "\n  even at the coarsest levels %d of %d records stand in combinations that are too rare", r.Unsafe, r.Records)
	for _, c := range r.Causes {
		fmt.Fprintf(&b, "\n    %d of them because of %s", c.Mended, c.Column)
	}
	b.WriteString("\n  add coarser levels to these columns or leave one out under quasi_identifiers, or raise the limits, and have it agreed")
	return b.String()
}

// refusal explains why no node will do.
func (p *Problem) refusal(nodes []node) *Refusal {
	r := &Refusal{K: p.cfg.K, L: p.cfg.L, Records: p.total}
	for _, x := range p.combos {
		r.Persons += x.Persons
	}
	e := newEvaluator(p)
	coarsest := e.evaluate(nodes[len(nodes)-1])
	whole := class{}
	for _, x := range p.combos {
		whole.persons += x.Persons
		whole.advice |= x.Advice
		whole.need |= x.Need
	}
	r.TooFew = !p.safe(whole)
	for j, a := range p.attributes {
		share := float64(coarsest.suppressed[j]) / float64(p.total)
		if share > p.limit(j) {
			r.Columns = append(r.Columns, RefusedColumn{a.column.Name, coarsest.suppressed[j], share, p.limit(j)})
		}
	}
	last := nodes[len(nodes)-1]
	r.Unsafe = p.unsafe(e, last, -1)
	for j, a := range p.attributes {
		if mended := r.Unsafe - p.unsafe(e, last, j); mended > 0 {
			r.Causes = append(r.Causes, Cause{a.column.Name, mended})
		}
	}
	slices.SortStableFunc(r.Causes, func(a, b Cause) int { return int(b.Mended - a.Mended) })
	return r
}

// unsafe counts the records of unsafe classes at a node, without one column.
func (p *Problem) unsafe(e *evaluator, n node, without int) int64 {
	given := make([]bool, len(p.attributes))
	if without >= 0 {
		given[without] = true
	}
	all := make([]int, len(p.combos))
	for i := range all {
		all[i] = i
	}
	classes := e.gather(all, n, given)
	total := int64(0)
	for _, c := range classes {
		if !p.safe(c) {
			total += c.records
		}
	}
	return total
}

// Register says, for each published combination of values, how many persons of
// the source fit it: a suppressed cell fits everybody. Whoever holds a register
// of all these persons cannot narrow a row down further.
func (p *Problem) Register(plan *Plan) []int64 {
	persons := make([]int64, plan.Classes)
	done := make([]bool, plan.Classes)
	for i, pub := range plan.Published {
		if done[pub.Class] {
			continue
		}
		done[pub.Class] = true
		for k := range p.combos {
			if p.combos[k].Mature == p.combos[i].Mature && p.fits(plan, k, pub.Values) {
				persons[pub.Class] += p.combos[k].Persons
			}
		}
	}
	return persons
}

func (p *Problem) fits(plan *Plan, combo int, values []string) bool {
	for j, v := range values {
		a := &p.attributes[j]
		at := slices.IndexFunc(a.levels, func(l level) bool { return l.name == plan.Columns[j].Level })
		l := &a.levels[at]
		if v != Suppressed && l.labels[l.of[p.coded[combo][j]]] != v {
			return false
		}
	}
	return true
}
