package tune

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// exactWork bounds the combinations times patterns that are all worked out;
// about two seconds.
const exactWork = 100_000_000

// weights are how many referrals one missed animal is taken to be worth while
// the search goes one flag at a time; each gives a corner of the path.
var weights = []float64{0.5, 1, 2, 4, 7, 10, 15, 20, 30, 50, 75, 100, 150, 250, 500, 1000, 5000}

// maxRounds bounds the search from one start; a round that changes nothing ends it.
const maxRounds = 20

// search judges combinations on a model: all of them where they are few enough,
// else one flag at a time for each weight, from the rules in force, from the
// widest and from the narrowest thresholds. Both ways are the same from run to run.
func (b *builder) search(m *model) []outcome {
	all := 1.0
	for _, t := range b.tuned {
		all *= float64(t.choices())
	}
	b.r.Search.Combinations = all
	if all*float64(len(m.list)) <= exactWork {
		b.r.Search.Exact = true
		b.r.Search.How = "every combination was worked out"
		out := b.everything(m)
		b.r.Search.Tried = len(out)
		return out
	}
	b.r.Search.How = fmt.Sprintf("one flag at a time, for %d weights of a missed animal, from the rules in force, the widest and the narrowest thresholds; it may miss the best", len(weights))
	seen := map[string]outcome{}
	try := func(c combination) outcome {
		key := c.key()
		if o, ok := seen[key]; ok {
			return o
		}
		o := m.try(slices.Clone(c))
		seen[key] = o
		return o
	}
	for _, start := range b.starts() {
		for _, w := range weights {
			b.descend(start, w, try)
		}
	}
	out := make([]outcome, 0, len(seen))
	for _, o := range seen {
		out = append(out, o)
	}
	slices.SortFunc(out, func(a, b outcome) int { return slices.Compare(a.c, b.c) })
	b.r.Search.Tried = len(out)
	return out
}

// everything judges all combinations in their order.
func (b *builder) everything(m *model) []outcome {
	var out []outcome
	c := make(combination, len(b.tuned))
	for i := range c {
		c[i] = 1
	}
	for {
		out = append(out, m.try(slices.Clone(c)))
		i := 0
		for ; i < len(c); i++ {
			if c[i] < b.tuned[i].choices() {
				c[i]++
				break
			}
			c[i] = 1
		}
		if i == len(c) {
			return out
		}
	}
}

// starts are the combinations that a search begins with.
func (b *builder) starts() []combination {
	wide, narrow := make(combination, len(b.tuned)), make(combination, len(b.tuned))
	for i, t := range b.tuned {
		wide[i], narrow[i] = 1, t.choices()
	}
	return []combination{b.present(), wide, narrow}
}

// descend moves one flag at a time to the step that costs least, until none
// moves. Of equal steps the one nearest to the rules in force is taken.
func (b *builder) descend(start combination, weight float64, try func(combination) outcome) {
	c := slices.Clone(start)
	cost := func(o outcome) float64 { return o.sent - (weight+1)*o.caught }
	for range maxRounds {
		moved := false
		for i, t := range b.tuned {
			best, bestCost := c[i], cost(try(c))
			for step := 1; step <= t.choices(); step++ {
				next := slices.Clone(c)
				next[i] = step
				if x := cost(try(next)); x < bestCost-1e-9 {
					best, bestCost = step, x
				}
			}
			moved = moved || best != c[i]
			c[i] = best
		}
		if !moved {
			return
		}
	}
}

// front keeps the combinations that no other equals or beats in both, from few
// sent in to few missed; of equals the one nearest to the rules in force.
func (b *builder) front(all []outcome) []outcome {
	away := func(o outcome) int {
		n := 0
		for i, t := range b.tuned {
			n += max(o.c[i]-t.inForce, t.inForce-o.c[i])
		}
		return n
	}
	sorted := slices.Clone(all)
	slices.SortFunc(sorted, func(x, y outcome) int {
		return cmp.Or(cmp.Compare(x.sent, y.sent), -compareClose(x.caught, y.caught), cmp.Compare(away(x), away(y)), slices.Compare(x.c, y.c))
	})
	var out []outcome
	best := math.Inf(-1)
	for _, o := range sorted {
		if o.caught > best+1e-9 {
			out = append(out, o)
			best = o.caught
		}
	}
	return out
}

// compareClose compares expected counts; a difference of rounding is none.
func compareClose(a, b float64) int {
	if math.Abs(a-b) < 1e-9 {
		return 0
	}
	return cmp.Compare(a, b)
}
