package rules

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"hindcheck/pipeline/codes"
)

// Where a changed set can demand other levels than the stored one. Most changes
// move one threshold or one demand, and then few rows come into question: the
// readings between the old threshold and the new one, or the rows on which the flag
// is not ruled out. Everything else keeps its stored levels unseen.

// maxLazy bounds the flags whose answers are written out at every place where
// they are wanted, since each stands there up to twenty times.
const maxLazy = 16

// pairing sets the flags of a set against the stored ones.
type pairing struct {
	// moved are flags that ask something else than the stored flag of the same name,
	// at the same place of was, and demand the same.
	moved, was []*flag
	// come are flags that the stored set does not have, or not with this demand;
	// gone are the places of stored flags that the set does not have likewise.
	come []*flag
	gone []int
	// alike are the places of stored flags that the set has too.
	alike []int
}

func (x *shared) pair(g *Program) (p pairing) {
	used := map[int]bool{}
	find := func(same func(o *flag) bool) int {
		for i := range x.stored.flags {
			if !used[i] && same(&x.stored.flags[i]) {
				used[i] = true
				return i
			}
		}
		return -1
	}
	keys := map[string][]int{}
	for i := range x.stored.flags {
		key := x.stored.flags[i].key()
		keys[key] = append(keys[key], i)
	}
	var rest []*flag
	for i := range g.flags {
		f := &g.flags[i]
		alike := slices.IndexFunc(keys[f.key()], func(i int) bool { return !used[i] && f.countsAs(&x.stored.flags[i]) })
		if alike < 0 {
			rest = append(rest, f)
			continue
		}
		used[keys[f.key()][alike]] = true
		p.alike = append(p.alike, keys[f.key()][alike])
	}
	for _, f := range rest {
		if o := find(func(o *flag) bool { return o.ID == f.ID && o.countsAs(f) }); o >= 0 {
			p.moved, p.was = append(p.moved, f), append(p.was, &x.stored.flags[o])
			continue
		}
		p.come = append(p.come, f)
	}
	for i := range x.stored.flags {
		if !used[i] {
			p.gone = append(p.gone, i)
		}
	}
	return p
}

// mayBeLazy reports whether every flag that the parts evaluate anew differs from
// its stored namesake in limits only.
func (x *shared) mayBeLazy(parts []Part) bool {
	if x.stored == nil {
		return false
	}
	n := 0
	for _, part := range parts {
		if x.isStored(part.Program) {
			continue
		}
		p := x.pair(part.Program)
		for _, f := range p.come {
			if _, stored := x.place[f.key()]; !stored {
				return false
			}
		}
		for i, f := range p.moved {
			if _, ok := f.between(p.was[i]); !ok {
				return false
			}
		}
		n += len(p.moved)
	}
	return n <= maxLazy
}

// differs is a condition over the relation that is true at least wherever one of
// the three levels of g is not the stored one; it may be NULL where it is not true.
// "" is never, "true" is that it cannot be told.
func (x *shared) differs(g *Program) string {
	if x.stored == nil || g.Set.Otherwise != x.stored.Set.Otherwise || !slices.Equal(x.stored.covered, g.covered) {
		return "true"
	}
	var terms []string
	if more := asksBeyond(g, x.stored); len(more) > 0 {
		terms = append(terms, fmt.Sprintf("rule_high = 0 AND (%s)", strings.Join(more, " OR ")))
	}
	if less := asksBeyond(x.stored, g); len(less) > 0 {
		terms = append(terms, fmt.Sprintf("rule_high > 0 AND (%s)", strings.Join(less, " OR ")))
	}
	p := x.pair(g)
	var changes matters
	for _, i := range p.gone {
		changes.add(x, &x.stored.flags[i], place{bit: i}, "=")
	}
	bits := differences{}
	for i, f := range p.moved {
		if where, ok := f.between(p.was[i]); ok {
			terms = append(terms, where...)
		} else if at, was := x.at(f), x.replaced(f); at.made && at.bit == was {
			bits[at.word()] |= at.mask()
		} else {
			changes.add(x, f, at, "<")
			changes.add(x, f, place{bit: was}, "=")
		}
	}
	for _, f := range p.come {
		changes.add(x, f, x.at(f), "<")
	}
	kept := matters{}
	for _, i := range p.alike {
		kept.add(x, &x.stored.flags[i], place{bit: i}, "=")
	}
	terms = append(append(terms, bits.sql()...), changes.sql(kept)...)
	for i, t := range terms {
		terms[i] = "(" + t + ")"
	}
	return strings.Join(terms, " OR ")
}

// matters are flags that come or go, by the level that they demand. One that goes
// matters where the stored level is the one that it demands, one that comes where
// the stored level is lower.
type matters map[matter]*anyOf

type matter struct {
	level codes.Level
	kind  string // low, level or high
	op    string // of the stored level against level
}

func (c *matters) add(x *shared, f *flag, p place, op string) {
	if *c == nil {
		*c = matters{}
	}
	for _, kind := range []string{"low", "level", "high"} {
		k := matter{f.Demands, kind, op}
		if (*c)[k] == nil {
			(*c)[k] = new(anyOf)
		}
		(*c)[k].add(x, f.counted(kind), p)
	}
}

func (c matters) sql(kept matters) (out []string) {
	for k, any := range c {
		where := fmt.Sprintf("rule_%s %s %d AND (%s)", k.kind, k.op, k.level, any.sql())
		if stays := kept[k]; k.op == "=" && stays != nil {
			where += fmt.Sprintf(" AND NOT (%s)", stays.sql())
		}
		out = append(out, where)
	}
	slices.Sort(out)
	return out
}

// differences are bits that answer otherwise in words made here than in the
// stored ones, by the number of the word.
type differences map[int]uint64

func (d differences) sql() (out []string) {
	for _, w := range slices.Sorted(maps.Keys(d)) {
		for _, kind := range []string{"fired", "possible"} {
			out = append(out, fmt.Sprintf("%s & %d::UBIGINT <> %s & %d::UBIGINT", wordOf(kind, place{bit: 64 * w}), d[w], wordOf(kind, place{true, 64 * w}), d[w]))
		}
	}
	return out
}

// between returns the conditions under which a flag can answer otherwise than
// another one that asks about the same, with other limits or codes; ok is false
// if they do not ask about the same.
func (f *flag) between(o *flag) (where []string, ok bool) {
	if !slices.Equal(f.Species, o.Species) || !slices.Equal(f.Sex, o.Sex) || !slices.Equal(f.Neutered, o.Neutered) ||
		!slices.Equal(f.BreedGroup, o.BreedGroup) || !slices.Equal(f.Complaint, o.Complaint) ||
		f.Age.Limits() != o.Age.Limits() || len(f.conds) != len(o.conds) {
		return nil, false
	}
	if f.Age != o.Age {
		where = append(where, apart("age_months", span{max(f.Age.AtLeast, 0), ageBelow(f.Age)}, span{max(o.Age.AtLeast, 0), ageBelow(o.Age)})...)
	}
	for i := range f.conds {
		a, b := &f.conds[i], &o.conds[i]
		switch {
		case a.column != b.column || a.code != b.code:
			return nil, false
		case a.code:
			no, was := a.readable&^a.yes, b.readable&^b.yes
			if in := inPlaces(a.column, (a.yes^b.yes)|(no^was)); in != "" {
				where = append(where, in)
			}
		default:
			where = append(where, apart(a.column, span{int(a.low), int(a.high)}, span{int(b.low), int(b.high)})...)
		}
	}
	return where, true
}

// span is numbers from low to high, both included; low > high holds none.
type span struct{ low, high int }

// apart returns where a reading lies in one of two spans and not in the other.
func apart(column string, a, b span) (out []string) {
	a, b = a.readings(), b.readings()
	switch {
	case a == b:
		return nil
	case a.low > a.high || b.low > b.high || a.high < b.low || b.high < a.low: // nothing in common
		return append(a.sql(column), b.sql(column)...)
	}
	out = span{min(a.low, b.low), max(a.low, b.low) - 1}.sql(column)
	return append(out, span{min(a.high, b.high) + 1, max(a.high, b.high)}.sql(column)...)
}

// readings leaves out what is no reading, and makes all empty spans alike.
func (s span) readings() span {
	s.low = max(s.low, 0)
	if s.low > s.high {
		return span{0, -1}
	}
	return s
}

func (s span) sql(column string) []string {
	switch {
	case s.low > s.high:
		return nil
	case s.high >= math.MaxInt32:
		return []string{fmt.Sprintf("%s >= %d", column, s.low)}
	}
	return []string{fmt.Sprintf("%s BETWEEN %d AND %d", column, s.low, s.high)}
}
