package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"hindcheck/pipeline/codes"
)

// LevelColumns returns the columns that SelectLevels adds for the part, after its
// prefix: rule_code (SMALLINT), the levels of the set in one number, low * 25 +
// level * 5 + high, or -1 where the stored levels stand; and rule_moved (BOOLEAN),
// true at least where they do not, else false or NULL.
func (p Part) LevelColumns() []string {
	return []string{p.Prefix + "rule_code", p.Prefix + "rule_moved"}
}

// LevelsOfCode are the three levels of a rule_code, each an expression over the
// code and the stored levels of the same row.
func LevelsOfCode(code string) (low, level, high string) {
	of := func(stored, divided string) string {
		return fmt.Sprintf("(CASE WHEN %s < 0 THEN %s ELSE %s END)::TINYINT", code, stored, divided)
	}
	return of("rule_low", code+" // 25"), of("rule_level", code+" // 5 % 5"), of("rule_high", code+" % 5")
}

// SelectLevels is Select for several rule sets of which the levels are wanted: one
// scan of the relation, each flag evaluated once however many sets hold it.
// Prefixes must differ and not be empty. words are columns of the result from which
// fired[i] makes, for part i, the list of the places of its flags that fired.
//
// stored, if not nil, is the program whose levels and bits the relation holds
// (rule_low, rule_level, rule_high, fired_0, unknown_0, ...), as `cases` holds
// those of the rules in force. A flag that stored evaluates alike, whatever it
// demands, is read from there; and where what a set changes cannot matter (differs),
// the stored level stands without a look at the set. Relation and safety are as for Select; the answer is
// the same, and a test holds the two together.
func SelectLevels(relation string, stored *Program, parts ...Part) (query string, words, fired []string, err error) {
	if len(parts) == 0 {
		return "SELECT * FROM " + relation, nil, nil, nil
	}
	if stored != nil && len(stored.flags) == 0 {
		stored = nil
	}
	for i, p := range parts {
		if !codes.ValidID(p.Prefix) {
			return "", nil, nil, fmt.Errorf("column prefix %q, expected lower case letters, digits and underscores", p.Prefix)
		}
		if slices.ContainsFunc(parts[:i], func(q Part) bool { return q.Prefix == p.Prefix }) {
			return "", nil, nil, fmt.Errorf("column prefix %q stands twice", p.Prefix)
		}
	}
	x := newShared(stored)
	x.lazy = x.mayBeLazy(parts)
	var outer []string
	for _, p := range parts {
		outer = append(outer, x.levels(p)...)
		fired = append(fired, x.fired(p.Program))
	}
	inner, words := x.words()
	if x.lazy {
		outer, inner = append(outer, inner...), nil
	}
	if len(inner) > 0 {
		relation = fmt.Sprintf("(\n  SELECT *,\n    %s\n  FROM %s\n)", strings.Join(inner, ",\n    "), relation)
	}
	return fmt.Sprintf("SELECT *,\n  %s\nFROM %s", strings.Join(outer, ",\n  "), relation), words, fired, nil
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
	// lazy says that the answers made here are wanted of few rows only: they are
	// then written out where they are wanted, inside a CASE, which looks at no other
	// row. Words made beforehand would be made of every row.
	lazy bool
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
	return slices.IndexFunc(x.stored.flags, func(o flag) bool { return o.ID == f.ID && o.countsAs(f) })
}

// countsAs reports whether two flags demand the same and take unknown answers alike.
func (f *flag) countsAs(g *flag) bool { return f.Demands == g.Demands && f.Raise == g.Raise }

// words makes the columns that hold the answers made here, of lazy ones only what
// fired, and the names of all words that hold what fired.
func (x *shared) words() (columns, fired []string) {
	if x.stored != nil {
		for w := range x.stored.Set.Words() {
			fired = append(fired, fmt.Sprintf("fired_%d", w))
		}
	}
	byWord := map[int][]place{}
	for p := range x.made {
		byWord[p.word()] = append(byWord[p.word()], p)
	}
	for _, w := range slices.Sorted(maps.Keys(byWord)) {
		slices.SortFunc(byWord[w], func(a, b place) int { return a.bit - b.bit })
		var yes, possible []string
		for _, p := range byWord[w] {
			f, q := x.made[p].bitSQL(p.mask())
			yes, possible = append(yes, f), append(possible, q)
		}
		fired = append(fired, fmt.Sprintf("made_fired_%d", w))
		columns = append(columns, fmt.Sprintf("(%s) AS made_fired_%d", strings.Join(yes, " | "), w))
		if !x.lazy {
			columns = append(columns, fmt.Sprintf("(%s) AS made_possible_%d", strings.Join(possible, " | "), w))
		}
	}
	return columns, fired
}

// wordOf is the expression of a word; kind is fired or possible.
func wordOf(kind string, p place) string {
	switch {
	case p.made:
		return fmt.Sprintf("made_%s_%d", kind, p.word())
	case kind == "possible":
		return fmt.Sprintf("(fired_%[1]d | unknown_%[1]d)", p.word())
	}
	return fmt.Sprintf("fired_%d", p.word())
}

// anyOf collects answers of which one is enough: bits by the expression of their
// word, and conditions.
type anyOf struct {
	bits  map[string]uint64
	conds []string
}

// add takes the answer of the flag at a place; kind is fired or possible.
func (a *anyOf) add(x *shared, kind string, p place) {
	if p.made && x.lazy {
		a.conds = append(a.conds, x.made[p].answerSQL(kind))
		return
	}
	if a.bits == nil {
		a.bits = map[string]uint64{}
	}
	a.bits[wordOf(kind, p)] |= p.mask()
}

// sql joins the answers, "" if there is none.
func (a *anyOf) sql() string {
	out := make([]string, 0, len(a.bits)+len(a.conds))
	for _, w := range slices.Sorted(maps.Keys(a.bits)) {
		out = append(out, fmt.Sprintf("%s & %d::UBIGINT <> 0", w, a.bits[w]))
	}
	return strings.Join(append(out, a.conds...), " OR ")
}

// answerSQL is whether the flag fires, or is possible; never NULL.
func (f *flag) answerSQL(kind string) string {
	yes, no := f.sql()
	switch {
	case kind == "fired":
		return fmt.Sprintf("coalesce(%s, false)", yes)
	case no == "":
		return "true"
	}
	return fmt.Sprintf("NOT coalesce(%s, false)", no)
}

// fired is the list of the places of a set's flags that fired.
func (x *shared) fired(g *Program) string {
	one := make([]string, len(g.flags))
	for i := range g.flags {
		p := x.at(&g.flags[i])
		one[i] = fmt.Sprintf("CASE WHEN %s & %d::UBIGINT <> 0 THEN %d END", wordOf("fired", p), p.mask(), i)
	}
	return "list_filter([" + strings.Join(one, ", ") + "]::INTEGER[], lambda x: x IS NOT NULL)"
}

// levels are the outer columns of one part.
func (x *shared) levels(p Part) []string {
	names := p.LevelColumns()
	if x.isStored(p.Program) {
		return []string{"-1::SMALLINT AS " + names[0], "false AS " + names[1]}
	}
	g, moved, speaks := p.Program, x.differs(p.Program), x.speaks(p.Program)
	code := fmt.Sprintf("(%s * 25::SMALLINT + %s * 5::SMALLINT + %s)", x.levelSQL(g, speaks, "low"), x.levelSQL(g, speaks, "level"), x.levelSQL(g, speaks, "high"))
	switch moved {
	case "":
		code = "-1::SMALLINT"
	case "true":
	default:
		code = fmt.Sprintf("CASE WHEN %s THEN %s ELSE -1::SMALLINT END", moved, code)
	}
	return []string{code + " AS " + names[0], fmt.Sprintf("(%s) AS %s", orFalse(moved), names[1])}
}

func orFalse(condition string) string {
	if condition == "" {
		return "false"
	}
	return condition
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
	var demand [codes.Emergency + 1]anyOf
	for i := range g.flags {
		f := &g.flags[i]
		demand[f.Demands].add(x, f.counted(kind), x.at(f))
	}
	var b strings.Builder
	fmt.Fprintf(&b, "CAST(CASE WHEN NOT %s THEN 0", speaks)
	for l := codes.Emergency; l > g.Set.Otherwise; l-- {
		if any := demand[l].sql(); any != "" {
			fmt.Fprintf(&b, " WHEN %s THEN %d", any, l)
		}
	}
	fmt.Fprintf(&b, " ELSE %d END AS TINYINT)", g.Set.Otherwise)
	return b.String()
}

// storedSpeaks is when the stored rules could say anything.
const storedSpeaks = "(rule_high > 0)"

// speaks is Program.speaksSQL. Where the stored rules spoke and the part asks no
// less for no fewer species, the part speaks too, which spares looking at every finding.
func (x *shared) speaks(p *Program) string {
	full := p.speaksSQL()
	if x.stored == nil || !slices.Equal(x.stored.covered, p.covered) || len(asksBeyond(x.stored, p)) > 0 {
		return full
	}
	more := asksBeyond(p, x.stored)
	if len(more) == 0 {
		return storedSpeaks
	}
	return fmt.Sprintf("(rule_high > 0 OR coalesce((%s)%s, false))", strings.Join(more, " OR "), p.coveredSQL())
}

// asksBeyond are the conditions under which findings are assessed that p asks
// about and q does not.
func asksBeyond(p, q *Program) (out []string) {
	for i := range p.asks {
		if a := &p.asks[i]; !slices.Contains(q.asks, *a) {
			out = append(out, a.assessedSQL())
		}
	}
	return out
}

// isStored reports whether a program is the stored one, or says the same.
func (x *shared) isStored(p *Program) bool {
	if x.stored == nil {
		return false
	}
	return p == x.stored || p.Dict == x.stored.Dict && p.Set.Hash() == x.stored.Set.Hash()
}
