package rules

import (
	"fmt"
	"slices"
	"strings"

	"hindcheck/pipeline/codes"
)

// LevelColumns returns the columns that SelectLevels adds for the part:
// rule_low, rule_level and rule_high after its prefix.
func (p Part) LevelColumns() []string { return p.Columns()[:3] }

// SelectLevels is Select for several rule sets of which the levels are wanted and
// no bits: one scan of the relation, each flag evaluated once however many sets
// hold it. Prefixes must differ and not be empty.
//
// stored, if not nil, is the program whose levels and bits the relation holds
// (rule_low, rule_level, rule_high, fired_0, unknown_0, ...), as `cases` holds
// those of the rules in force. A flag that stored evaluates alike, whatever it
// demands, is read from there. Relation and safety are as for Select; the answer is
// the same, and a test holds the two together.
func SelectLevels(relation string, stored *Program, parts ...Part) (string, error) {
	if len(parts) == 0 {
		return "SELECT * FROM " + relation, nil
	}
	if stored != nil && len(stored.flags) == 0 {
		stored = nil
	}
	x := newShared(stored)
	var outer []string
	for i, p := range parts {
		if !codes.ValidID(p.Prefix) {
			return "", fmt.Errorf("column prefix %q, expected lower case letters, digits and underscores", p.Prefix)
		}
		if slices.ContainsFunc(parts[:i], func(q Part) bool { return q.Prefix == p.Prefix }) {
			return "", fmt.Errorf("column prefix %q stands twice", p.Prefix)
		}
		outer = append(outer, x.levels(p)...)
	}
	inner, helpers := x.words()
	if len(inner) == 0 {
		return fmt.Sprintf("SELECT *,\n  %s\nFROM %s", strings.Join(outer, ",\n  "), relation), nil
	}
	return fmt.Sprintf("SELECT * EXCLUDE (%s),\n  %s\nFROM (\n  SELECT *,\n    %s\n  FROM %s\n)",
		strings.Join(helpers, ", "), strings.Join(outer, ",\n  "), strings.Join(inner, ",\n    "), relation), nil
}

// shared finds for each flag the bit that holds its answer.
type shared struct {
	stored *Program
	place  map[string]int // by what the flag asks; from 0 in stored, from len(stored) on made here
	made   []*flag
}

func newShared(stored *Program) *shared {
	x := &shared{stored: stored, place: map[string]int{}}
	for i := range x.inStored() {
		key := stored.flags[i].key()
		if _, twice := x.place[key]; !twice {
			x.place[key] = i
		}
	}
	return x
}

func (x *shared) inStored() int {
	if x.stored == nil {
		return 0
	}
	return len(x.stored.flags)
}

// key is what the flag asks, apart from its name and what it demands.
func (f *flag) key() string {
	yes, no := f.sql()
	return yes + "\x00" + no
}

// at returns the place of a flag's answer, making one if there is none.
func (x *shared) at(f *flag) int {
	key := f.key()
	i, ok := x.place[key]
	if !ok {
		i = x.inStored() + len(x.made)
		x.place[key] = i
		x.made = append(x.made, f)
	}
	return i
}

// words are the inner columns that hold the answers made here.
func (x *shared) words() (inner, helpers []string) {
	if len(x.made) == 0 {
		return nil, nil
	}
	p := &Program{}
	for _, f := range x.made {
		p.flags = append(p.flags, *f)
	}
	for w := range (len(x.made) + 63) / 64 {
		fired, possible := p.word(w)
		inner = append(inner, fmt.Sprintf("%s AS made_fired_%d", fired, w), fmt.Sprintf("%s AS made_possible_%d", possible, w))
		helpers = append(helpers, fmt.Sprintf("made_fired_%d", w), fmt.Sprintf("made_possible_%d", w))
	}
	return inner, helpers
}

// masks are bits by word of answers: stored words first, then those made here.
type masks map[int]uint64

// word returns the number of the word and the bit of a place.
func (x *shared) word(place int) (word int, bit uint64) {
	n := x.inStored()
	if place < n {
		return place / 64, 1 << (place % 64)
	}
	return (n+63)/64 + (place-n)/64, 1 << ((place - n) % 64)
}

// test is true where any of the bits is set; kind is fired or possible.
func (x *shared) test(kind string, m masks) string {
	var any []string
	words := make([]int, 0, len(m))
	for w := range m {
		words = append(words, w)
	}
	slices.Sort(words)
	for _, w := range words {
		name, stored := fmt.Sprintf("%s_%d", kind, w), (x.inStored()+63)/64
		switch {
		case w >= stored:
			name = fmt.Sprintf("made_%s_%d", kind, w-stored)
		case kind == "possible":
			name = fmt.Sprintf("(fired_%d | unknown_%d)", w, w)
		}
		any = append(any, fmt.Sprintf("%s & %d::UBIGINT <> 0", name, m[w]))
	}
	return strings.Join(any, " OR ")
}

// levels are the outer columns of one part.
func (x *shared) levels(p Part) []string {
	names := p.LevelColumns()
	if x.isStored(p.Program) {
		return []string{"rule_low AS " + names[0], "rule_level AS " + names[1], "rule_high AS " + names[2]}
	}
	// What a level's flags need to be set: any answer, and any that counts when unknown.
	var all, raise, leave [codes.Emergency + 1]masks
	for l := range all {
		all[l], raise[l], leave[l] = masks{}, masks{}, masks{}
	}
	for i := range p.Program.flags {
		f := &p.Program.flags[i]
		w, bit := x.word(x.at(f))
		all[f.Demands][w] |= bit
		if f.Raise {
			raise[f.Demands][w] |= bit
		} else {
			leave[f.Demands][w] |= bit
		}
	}
	speaks := x.speaks(p.Program)
	low := x.levelSQL(p.Program, speaks, func(l codes.Level) string { return x.test("fired", all[l]) })
	level := x.levelSQL(p.Program, speaks, func(l codes.Level) string {
		a, b := x.test("possible", raise[l]), x.test("fired", leave[l])
		if a != "" && b != "" {
			return a + " OR " + b
		}
		return a + b
	})
	high := x.levelSQL(p.Program, speaks, func(l codes.Level) string { return x.test("possible", all[l]) })
	return []string{low + " AS " + names[0], level + " AS " + names[1], high + " AS " + names[2]}
}

func (x *shared) levelSQL(p *Program, speaks string, test func(codes.Level) string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "CAST(CASE WHEN NOT %s THEN 0", speaks)
	for l := codes.Emergency; l > p.Set.Otherwise; l-- {
		if t := test(l); t != "" {
			fmt.Fprintf(&b, " WHEN %s THEN %d", t, l)
		}
	}
	fmt.Fprintf(&b, " ELSE %d END AS TINYINT)", p.Set.Otherwise)
	return b.String()
}

// speaks is Program.speaksSQL. Where the stored rules spoke and the part asks no
// less for no fewer species, the part speaks too, which spares looking at every finding.
func (x *shared) speaks(p *Program) string {
	full := p.speaksSQL()
	if x.stored == nil || x.stored.Set.Otherwise == codes.NoLevel || !slices.Equal(x.stored.covered, p.covered) {
		return full
	}
	var more []string
	for i := range x.stored.asks {
		if !slices.Contains(p.asks, x.stored.asks[i]) {
			return full
		}
	}
	for i := range p.asks {
		if a := &p.asks[i]; !slices.Contains(x.stored.asks, *a) {
			more = append(more, a.assessedSQL())
		}
	}
	if len(more) == 0 {
		return "(rule_high > 0)"
	}
	return fmt.Sprintf("(rule_high > 0 OR coalesce((%s)%s, false))", strings.Join(more, " OR "), p.coveredSQL())
}

// isStored reports whether a program is the stored one, or says the same.
func (x *shared) isStored(p *Program) bool {
	if x.stored == nil {
		return false
	}
	return p == x.stored || p.Dict == x.stored.Dict && p.Set.Hash() == x.stored.Set.Hash()
}
