package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"hindcheck/pipeline/codes"
)

// LevelColumns returns the columns that SelectLevels adds for the part: rule_low,
// rule_level, rule_high and rule_pack after its prefix. The last is the three in
// one TINYINT, low * 25 + level * 5 + high, for grouping.
func (p Part) LevelColumns() []string { return append(p.Columns()[:3:3], p.Prefix+"rule_pack") }

// StoredPack is rule_pack of the levels that the relation holds.
const StoredPack = "(rule_low * 25::TINYINT + rule_level * 5::TINYINT + rule_high)"

// SelectLevels is Select for several rule sets of which the levels are wanted: one
// scan of the relation, each flag evaluated once however many sets hold it.
// Prefixes must differ and not be empty. fired gives for each part an expression
// over the result: the list of the places of its flags that fired.
//
// stored, if not nil, is the program whose levels and bits the relation holds
// (rule_low, rule_level, rule_high, fired_0, unknown_0, ...), as `cases` holds
// those of the rules in force. A flag that stored evaluates alike, whatever it
// demands, is read from there; and where all that a set changes answers as before,
// the stored level stands. Relation and safety are as for Select; the answer is
// the same, and a test holds the two together.
func SelectLevels(relation string, stored *Program, parts ...Part) (query string, fired []string, err error) {
	if len(parts) == 0 {
		return "SELECT * FROM " + relation, nil, nil
	}
	if stored != nil && len(stored.flags) == 0 {
		stored = nil
	}
	x := newShared(stored)
	var outer []string
	for i, p := range parts {
		if !codes.ValidID(p.Prefix) {
			return "", nil, fmt.Errorf("column prefix %q, expected lower case letters, digits and underscores", p.Prefix)
		}
		if slices.ContainsFunc(parts[:i], func(q Part) bool { return q.Prefix == p.Prefix }) {
			return "", nil, fmt.Errorf("column prefix %q stands twice", p.Prefix)
		}
		outer = append(outer, x.levels(p)...)
		fired = append(fired, x.fired(p.Program))
	}
	if inner := x.words(); len(inner) > 0 {
		relation = fmt.Sprintf("(\n  SELECT *,\n    %s\n  FROM %s\n)", strings.Join(inner, ",\n    "), relation)
	}
	return fmt.Sprintf("SELECT *,\n  %s\nFROM %s", strings.Join(outer, ",\n  "), relation), fired, nil
}

// shared finds for each flag the bit that holds its answer: a stored one, or one
// made here. Words made here follow the stored ones; as far as these reach, a flag
// made in place of a stored one takes the bit of the same place, so that old and
// new answers compare word by word.
type shared struct {
	stored *Program
	place  map[string]place // by what the flag asks
	made   map[place]*flag
	free   int // next bit behind the words that mirror the stored ones
}

// place is a bit of a word, stored or made here.
type place struct {
	made bool
	bit  int
}

func (p place) word() int    { return p.bit / 64 }
func (p place) mask() uint64 { return 1 << (p.bit % 64) }

func newShared(stored *Program) *shared {
	x := &shared{stored: stored, place: map[string]place{}, made: map[place]*flag{}}
	if stored != nil {
		for i := range stored.flags {
			key := stored.flags[i].key()
			if _, twice := x.place[key]; !twice {
				x.place[key] = place{bit: i}
			}
		}
		x.free = 64 * stored.Set.Words()
	}
	return x
}

// key is what the flag asks, apart from its name and what it demands.
func (f *flag) key() string {
	yes, no := f.sql()
	return yes + "\x00" + no
}

// at returns the place of a flag's answer, making one if there is none: at that of
// the stored flag it replaces, if that is free.
func (x *shared) at(f *flag) place {
	key := f.key()
	if p, ok := x.place[key]; ok {
		return p
	}
	p := place{made: true, bit: x.free}
	if i := x.replaced(f); i >= 0 && x.made[place{true, i}] == nil {
		p.bit = i
	} else {
		x.free++
	}
	x.place[key], x.made[p] = p, f
	return p
}

// replaced is the place of the stored flag with the same name, demand and way of
// taking unknown answers, or -1.
func (x *shared) replaced(f *flag) int {
	if x.stored == nil {
		return -1
	}
	return slices.IndexFunc(x.stored.flags, func(o flag) bool { return o.ID == f.ID && o.Demands == f.Demands && o.Raise == f.Raise })
}

// words are the inner columns that hold the answers made here.
func (x *shared) words() (inner []string) {
	byWord := map[int][]place{}
	for p := range x.made {
		byWord[p.word()] = append(byWord[p.word()], p)
	}
	for _, w := range slices.Sorted(maps.Keys(byWord)) {
		slices.SortFunc(byWord[w], func(a, b place) int { return a.bit - b.bit })
		var fired, possible []string
		for _, p := range byWord[w] {
			f, q := x.made[p].bitSQL(p.mask())
			fired, possible = append(fired, f), append(possible, q)
		}
		inner = append(inner, fmt.Sprintf("(%s) AS made_fired_%d", strings.Join(fired, " | "), w), fmt.Sprintf("(%s) AS made_possible_%d", strings.Join(possible, " | "), w))
	}
	return inner
}

// name is the expression of a word; kind is fired or possible.
func name(kind string, p place) string {
	switch {
	case p.made:
		return fmt.Sprintf("made_%s_%d", kind, p.word())
	case kind == "possible":
		return fmt.Sprintf("(fired_%[1]d | unknown_%[1]d)", p.word())
	}
	return fmt.Sprintf("fired_%d", p.word())
}

// masks are bits by the expression of their word.
type masks map[string]uint64

func (m masks) add(kind string, p place) { m[name(kind, p)] |= p.mask() }

// test joins "word & bits OP 0".
func (m masks) test(op, join string) string {
	var out []string
	for _, w := range slices.Sorted(maps.Keys(m)) {
		out = append(out, fmt.Sprintf("%s & %d::UBIGINT %s 0", w, m[w], op))
	}
	return strings.Join(out, join)
}

// fired is the list of the places of a set's flags that fired.
func (x *shared) fired(g *Program) string {
	one := make([]string, len(g.flags))
	for i := range g.flags {
		p := x.at(&g.flags[i])
		one[i] = fmt.Sprintf("CASE WHEN %s & %d::UBIGINT <> 0 THEN %d END", name("fired", p), p.mask(), i)
	}
	return "list_filter([" + strings.Join(one, ", ") + "]::INTEGER[], lambda x: x IS NOT NULL)"
}

// levels are the outer columns of one part.
func (x *shared) levels(p Part) []string {
	names := p.LevelColumns()
	if x.isStored(p.Program) {
		return []string{"rule_low AS " + names[0], "rule_level AS " + names[1], "rule_high AS " + names[2], StoredPack + " AS " + names[3]}
	}
	speaks := x.speaks(p.Program)
	out := make([]string, 4)
	for i, kind := range []string{"low", "level", "high"} {
		out[i] = fmt.Sprintf("%s AS %s", x.levelSQL(p.Program, speaks, kind), names[i])
	}
	out[3] = x.packSQL(p.Program, speaks) + " AS " + names[3]
	return out
}

// packSQL is rule_pack: that of the stored levels wherever both what fires and what
// is possible is as before, which spares the three levels there.
func (x *shared) packSQL(g *Program, speaks string) string {
	full := fmt.Sprintf("%s * 25::TINYINT + %s * 5::TINYINT + %s", x.levelSQL(g, speaks, "low"), x.levelSQL(g, speaks, "level"), x.levelSQL(g, speaks, "high"))
	low, high := x.alike(g, "low"), x.alike(g, "high")
	if low == "" || high == "" || speaks != storedSpeaks {
		return "(" + full + ")"
	}
	return fmt.Sprintf("CASE WHEN %s AND %s THEN %s ELSE %s END", low, high, StoredPack, full)
}

// counted is how a flag's answer counts for a level: fired, or possible.
func (f *flag) counted(kind string) string {
	if kind == "high" || kind == "level" && f.Raise {
		return "possible"
	}
	return "fired"
}

// levelSQL is one of the three levels of a set.
func (x *shared) levelSQL(g *Program, speaks, kind string) string {
	var demand [codes.Emergency + 1]masks
	for i := range g.flags {
		f := &g.flags[i]
		if demand[f.Demands] == nil {
			demand[f.Demands] = masks{}
		}
		demand[f.Demands].add(f.counted(kind), x.at(f))
	}
	var b strings.Builder
	b.WriteString("CAST(CASE ")
	if alike := x.alike(g, kind); alike != "" && speaks == storedSpeaks {
		fmt.Fprintf(&b, "WHEN %s THEN rule_%s ", alike, kind)
	}
	fmt.Fprintf(&b, "WHEN NOT %s THEN 0", speaks)
	for l := codes.Emergency; l > g.Set.Otherwise; l-- {
		if demand[l] != nil {
			fmt.Fprintf(&b, " WHEN %s THEN %d", demand[l].test("<>", " OR "), l)
		}
	}
	fmt.Fprintf(&b, " ELSE %d END AS TINYINT)", g.Set.Otherwise)
	return b.String()
}

// alike is when all that a set changes counts as it did before, so that the stored
// level stands: "" if it cannot be told.
func (x *shared) alike(g *Program, kind string) string {
	if x.stored == nil || g.Set.Otherwise != x.stored.Set.Otherwise {
		return ""
	}
	gone, come := masks{}, masks{} // counted before, counted now and not before
	mirror := map[string]masks{}   // counted before and now, from another word
	kept := map[int]bool{}
	for i := range g.flags {
		f := &g.flags[i]
		p, o := x.at(f), x.replaced(f)
		switch {
		case o < 0 || p.bit != o:
			come.add(f.counted(kind), p)
		case p.made:
			was := name(f.counted(kind), place{bit: o})
			if mirror[was] == nil {
				mirror[was] = masks{}
			}
			mirror[was].add(f.counted(kind), p)
			kept[o] = true
		default:
			kept[o] = true
		}
	}
	for i := range x.stored.flags {
		if f := &x.stored.flags[i]; !kept[i] {
			gone.add(f.counted(kind), place{bit: i})
		}
	}
	var out []string
	for _, m := range []masks{gone, come} {
		if len(m) > 0 {
			out = append(out, m.test("=", " AND "))
		}
	}
	for _, was := range slices.Sorted(maps.Keys(mirror)) {
		for _, is := range slices.Sorted(maps.Keys(mirror[was])) {
			out = append(out, fmt.Sprintf("%s & %d::UBIGINT = %s & %d::UBIGINT", was, mirror[was][is], is, mirror[was][is]))
		}
	}
	return strings.Join(out, " AND ")
}

// storedSpeaks is when the stored rules could say anything.
const storedSpeaks = "(rule_high > 0)"

// speaks is Program.speaksSQL. Where the stored rules spoke and the part asks no
// less for no fewer species, the part speaks too, which spares looking at every finding.
func (x *shared) speaks(p *Program) string {
	full := p.speaksSQL()
	if x.stored == nil || !slices.Equal(x.stored.covered, p.covered) {
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
		return storedSpeaks
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
