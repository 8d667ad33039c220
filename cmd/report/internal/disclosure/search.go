package disclosure

import (
	"cmp"
	"errors"
	"math"
	"runtime"
	"slices"
	"sync"
)

// Combination counts the records that share recorded values of all
// quasi-identifiers.
type Combination struct {
	// Values in the order of Config.Columns; "" is not recorded. Age in months
	// stands as the lower edge of its fine band, period as yyyymm.
	Values []string
	// Mature is published as it is and never suppressed.
	Mature bool
	// Records is how many, Persons how many persons have their one chosen
	// record here: such persons can be added over combinations and are never
	// more than there really are.
	Records, Persons int64
	// Advice and Need have a bit for each value that occurs: advice 0 to 4, need
	// unknown, no, yes.
	Advice, Need uint16
}

// needWords are the words of the bits of Combination.Need, for tells_nothing.
var needWords = []string{"unknown", "no", "yes"}

var adviceWords = []string{"none", "home_care", "soon", "same_day", "emergency"}

// Problem is a table of combinations to be coarsened.
type Problem struct {
	cfg        Config
	combos     []Combination
	attributes []attribute
	// coded are the recorded values as places of their attribute.
	coded  [][]int
	giveUp []int
	// essential marks the essential columns.
	essential []bool
	total     int64
	// nothing are the sets of sensitive values that reveal nothing.
	nothing [2]uint16
}

// ErrNoRecords is returned where there is nothing to publish.
var ErrNoRecords = errors.New("no records to publish")

// NewProblem prepares the search. anchor is the last month under review.
func NewProblem(cfg Config, combos []Combination, anchor int) (*Problem, error) {
	if len(combos) == 0 {
		return nil, ErrNoRecords
	}
	p := &Problem{cfg: cfg, combos: combos}
	for i, c := range cfg.Columns {
		records, persons := map[string]int64{}, map[string]int64{}
		for _, x := range combos {
			records[x.Values[i]] += x.Records
			persons[x.Values[i]] += x.Persons
		}
		p.attributes = append(p.attributes, newAttribute(c, records, persons, cfg.RareBelow, anchor))
	}
	for _, x := range combos {
		row := make([]int, len(cfg.Columns))
		for i, v := range x.Values {
			row[i] = p.attributes[i].place[v]
		}
		p.coded = append(p.coded, row)
		p.total += x.Records
	}
	for _, name := range cfg.GiveUp {
		p.giveUp = append(p.giveUp, slices.Index(cfg.names(), name))
	}
	for _, c := range cfg.Columns {
		p.essential = append(p.essential, slices.Contains(cfg.Essential, c.Name))
	}
	for i, words := range [][]string{adviceWords, needWords} {
		for _, w := range cfg.TellsNothing[Sensitive[i]] {
			if at := slices.Index(words, w); at >= 0 {
				p.nothing[i] |= 1 << at
			}
		}
	}
	return p, nil
}

// node is one point of the lattice: a level for each attribute.
type node struct {
	levels []int
	// loss is what the levels alone lose.
	loss  float64
	place int
}

// nodes lists the lattice, least loss first.
func (p *Problem) nodes() []node {
	all := []node{{levels: nil}}
	for _, a := range p.attributes {
		var next []node
		for _, n := range all {
			for l := range a.levels {
				next = append(next, node{levels: append(slices.Clone(n.levels), l)})
			}
		}
		all = next
	}
	for i := range all {
		for j, l := range all[i].levels {
			all[i].loss += p.weight(j) * p.attributes[j].levels[l].loss
		}
	}
	slices.SortStableFunc(all, func(a, b node) int { return cmp.Compare(a.loss, b.loss) })
	for i := range all {
		all[i].place = i
	}
	return all
}

// weight is a column's share of all weights.
func (p *Problem) weight(i int) float64 {
	sum := 0.0
	for _, a := range p.attributes {
		sum += a.column.Weight
	}
	return p.attributes[i].column.Weight / sum
}

// exactWork bounds nodes times combinations for which every node is tried.
const exactWork = 500_000_000

// Search returns the plan of least loss that meets target and limits, or a
// *Refusal. It tries every node of the lattice that could be better than the
// best found; above some hundred million cells it walks from the coarsest node
// towards less loss instead, and the plan says so.
func (p *Problem) Search() (*Plan, error) {
	nodes := p.nodes()
	var best *solution
	exact := len(nodes)*len(p.combos) <= exactWork
	tried := 0
	if exact {
		best, tried = p.tryAll(nodes)
	} else {
		best, tried = p.descend()
	}
	if best == nil {
		return nil, p.refusal(nodes)
	}
	plan := p.plan(best)
	plan.Exact, plan.Tried, plan.Lattice = exact, tried, len(nodes)
	return plan, nil
}

// tryAll tries nodes in the order of their own loss, several at a time. A node
// is passed over only if its levels alone lose more than the best plan, so the
// answer does not depend on the order in which workers finish.
func (p *Problem) tryAll(nodes []node) (best *solution, tried int) {
	var mu sync.Mutex
	var workers sync.WaitGroup
	next := 0
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			e := newEvaluator(p)
			for {
				mu.Lock()
				if next == len(nodes) || best != nil && nodes[next].loss > best.loss {
					mu.Unlock()
					return
				}
				n := nodes[next]
				next++
				tried++
				mu.Unlock()
				s := e.evaluate(n)
				mu.Lock()
				if s.ok && (best == nil || s.loss < best.loss || s.loss == best.loss && s.node.place < best.node.place) {
					best = s
				}
				mu.Unlock()
			}
		})
	}
	workers.Wait()
	return best, tried
}

// descend walks from the coarsest node to the neighbour of least loss, one
// level finer at a time, until no neighbour is better.
func (p *Problem) descend() (best *solution, tried int) {
	at := node{levels: make([]int, len(p.attributes))}
	for i, a := range p.attributes {
		at.levels[i] = len(a.levels) - 1
	}
	e := newEvaluator(p)
	try := func(n node) *solution {
		tried++
		n.loss = 0
		for j, l := range n.levels {
			n.loss += p.weight(j) * p.attributes[j].levels[l].loss
		}
		return e.evaluate(n)
	}
	lowest := math.Inf(1)
	if s := try(at); s.ok {
		best, lowest = s, s.loss
	}
	for {
		var better *solution
		for i := range at.levels {
			if at.levels[i] == 0 {
				continue
			}
			n := node{levels: slices.Clone(at.levels)}
			n.levels[i]--
			if s := try(n); s.ok && s.loss < lowest {
				better, lowest = s, s.loss
			}
		}
		if better == nil {
			return best, tried
		}
		best, at = better, better.node
	}
}
