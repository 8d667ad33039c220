package disclosure

import (
	"math/bits"
	"slices"
)

// solution is what one node comes to once cells are suppressed.
type solution struct {
	node node
	loss float64
	// ok is whether target and limits are met.
	ok bool
	// steps is, for each combination, how many columns of the order of giving
	// up are suppressed in it.
	steps []int
	// suppressed counts the records in which each column is, early the records
	// that had to lose any cell.
	suppressed []int64
	early      int64
}

// class adds up the combinations that are published alike.
type class struct {
	records, persons int64
	advice, need     uint16
}

// evaluator holds what evaluating a node needs again and again.
type evaluator struct {
	p     *Problem
	keys  []uint64
	place map[uint64]int32
	given []bool
}

func newEvaluator(p *Problem) *evaluator {
	return &evaluator{p: p, keys: make([]uint64, len(p.combos)), place: map[uint64]int32{}, given: make([]bool, len(p.attributes))}
}

// key packs a combination's labels; a column that is given up counts as 0.
func (e *evaluator) key(i int, n node, given []bool) uint64 {
	k := uint64(0)
	for j, v := range e.p.coded[i] {
		l := &e.p.attributes[j].levels[n.levels[j]]
		k *= uint64(len(l.labels) + 1)
		if !given[j] {
			k += uint64(l.of[v] + 1)
		}
	}
	k *= 2
	if e.p.combos[i].Mature {
		k++
	}
	return k
}

// gather adds up the classes of some combinations.
func (e *evaluator) gather(some []int, n node, given []bool) []class {
	clear(e.place)
	var out []class
	for _, i := range some {
		e.keys[i] = e.key(i, n, given)
		at, ok := e.place[e.keys[i]]
		if !ok {
			at = int32(len(out))
			e.place[e.keys[i]] = at
			out = append(out, class{})
		}
		c, x := &out[at], &e.p.combos[i]
		c.records += x.Records
		c.persons += x.Persons
		c.advice |= x.Advice
		c.need |= x.Need
	}
	return out
}

// safe is whether a class meets the target.
func (p *Problem) safe(c class) bool {
	return c.persons >= p.cfg.K && p.diverse(c.advice, p.nothing[0]) && p.diverse(c.need, p.nothing[1])
}

func (p *Problem) diverse(seen, nothing uint16) bool {
	return int64(bits.OnesCount16(seen)) >= p.cfg.L || seen&^nothing == 0
}

// evaluate suppresses cells of the combinations whose class is not safe, one
// column after the other in the order of giving up; those that are then safe
// together stay. Before an essential column is given up, and at the end, whole
// safe classes that agree in the columns still shown are joined to what is left,
// fewest persons first: they lose cells of lesser columns, and the essential
// column stays.
func (e *evaluator) evaluate(n node) *solution {
	p := e.p
	s := &solution{node: n, steps: make([]int, len(p.combos)), suppressed: make([]int64, len(p.attributes))}
	open := make([]int, len(p.combos))
	for i := range open {
		open[i] = i
	}
	for step := 0; ; step++ {
		last := step == len(p.giveUp)
		// A column with one value has nothing to give.
		if step == 0 || last || p.tells(n, p.giveUp[step-1]) {
			open = e.keepUnsafe(s, open, step)
		} else {
			for _, i := range open {
				s.steps[i] = step
			}
		}
		if step == 0 {
			for _, i := range open {
				s.early += p.combos[i].Records
			}
		}
		if len(open) > 0 && (last || p.essential[p.giveUp[step]]) {
			open = e.join(s, open, step)
		}
		if len(open) == 0 || last {
			break
		}
	}
	s.ok = len(open) == 0
	p.judge(s)
	return s
}

// tells is whether a column has more than one value at a node.
func (p *Problem) tells(n node, column int) bool {
	return len(p.attributes[column].levels[n.levels[column]].labels) > 1
}

// given are the columns suppressed after some steps.
func (p *Problem) given(n node, step int) []int {
	var out []int
	for _, j := range p.giveUp[:step] {
		if p.tells(n, j) {
			out = append(out, j)
		}
	}
	return out
}

// mask marks them.
func (e *evaluator) mask(n node, step int) []bool {
	clear(e.given)
	for _, j := range e.p.given(n, step) {
		e.given[j] = true
	}
	return e.given
}

// keepUnsafe sets the step of the combinations in open and returns those whose
// class among them is not safe.
func (e *evaluator) keepUnsafe(s *solution, open []int, step int) []int {
	classes := e.gather(open, s.node, e.mask(s.node, step))
	left := open[:0]
	for _, i := range open {
		s.steps[i] = step
		if !e.p.safe(classes[e.place[e.keys[i]]]) {
			left = append(left, i)
		}
	}
	return left
}

// join adds whole safe classes to what is left until it is safe, and returns
// what cannot be made safe.
func (e *evaluator) join(s *solution, open []int, step int) []int {
	p := e.p
	rest := e.gather(open, s.node, e.mask(s.node, step))
	unsafe := map[uint64]*class{}
	isOpen := map[int]bool{}
	for _, i := range open {
		unsafe[e.keys[i]] = &rest[e.place[e.keys[i]]]
		isOpen[i] = true
	}
	// The classes that agree, by how they are published now.
	type group struct {
		key     uint64
		persons int64
		combos  []int
	}
	groups := map[[2]uint64]*group{}
	var order []*group
	for i := range p.combos {
		if isOpen[i] || s.steps[i] > step {
			continue
		}
		k := e.key(i, s.node, e.mask(s.node, step))
		if unsafe[k] == nil {
			continue
		}
		now := [2]uint64{uint64(s.steps[i]), e.key(i, s.node, e.mask(s.node, s.steps[i]))}
		if groups[now] == nil {
			groups[now] = &group{key: k}
			order = append(order, groups[now])
		}
		groups[now].persons += p.combos[i].Persons
		groups[now].combos = append(groups[now].combos, i)
	}
	slices.SortStableFunc(order, func(a, b *group) int { return int(a.persons - b.persons) })
	for _, g := range order {
		c := unsafe[g.key]
		if p.safe(*c) {
			continue
		}
		for _, i := range g.combos {
			x := &p.combos[i]
			c.records, c.persons, c.advice, c.need = c.records+x.Records, c.persons+x.Persons, c.advice|x.Advice, c.need|x.Need
			s.steps[i] = step
		}
	}
	left := open[:0]
	for _, i := range open {
		if !p.safe(*unsafe[e.key(i, s.node, e.mask(s.node, step))]) {
			left = append(left, i)
		}
	}
	return left
}

// judge adds up the loss and holds it to the limits.
func (p *Problem) judge(s *solution) {
	for i, step := range s.steps {
		for _, j := range p.given(s.node, step) {
			s.suppressed[j] += p.combos[i].Records
		}
	}
	for j := range p.attributes {
		l := p.attributes[j].levels[s.node.levels[j]].loss
		share := float64(s.suppressed[j]) / float64(p.total)
		s.loss += p.weight(j) * (share + (1-share)*l)
		if share > p.limit(j) {
			s.ok = false
		}
	}
}

// limit is the largest share of records in which a column may be suppressed.
func (p *Problem) limit(j int) float64 {
	if len(p.attributes[j].levels[0].labels) <= 1 {
		return 1 // there was nothing to tell apart
	}
	if p.essential[j] {
		return p.cfg.MaxEssential
	}
	return p.cfg.MaxSuppressed
}
