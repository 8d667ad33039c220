package rules

import (
	"fmt"
	"math"
	"strings"

	"hindcheck/pipeline/codes"
)

// Part is one rule set of a Select.
type Part struct {
	Program *Program
	// Prefix goes before the names of the part's columns, so that several
	// sets fit in one scan; empty, or an identifier such as "new_".
	Prefix string
}

// Columns returns the names of the columns that Select adds for the part:
// rule_low, rule_level, rule_high (TINYINT, 0 for undetermined) and fired_0,
// unknown_0, fired_1, ... (UBIGINT, bit i%64 of word i/64 for flag i).
func (p Part) Columns() []string {
	out := []string{p.Prefix + "rule_low", p.Prefix + "rule_level", p.Prefix + "rule_high"}
	for w := range p.Program.Set.Words() {
		out = append(out, fmt.Sprintf("%sfired_%d", p.Prefix, w), fmt.Sprintf("%sunknown_%d", p.Prefix, w))
	}
	return out
}

// Select returns a query over all columns of a relation, to which it adds the
// columns of each part. relation is a name or a bracketed query written by this
// program, never by a user. It must have species, sex, neutered, age_months,
// breed_group, complaint and the column f_<id> of every finding that the rules
// ask about, as `cases` has them, and must not have the columns that are added.
//
// Flag texts, titles and reasons never enter the query. Column names come from
// the dictionary, whose ids are checked; breed groups and complaints, the only
// free words of a rule, become literals by quote.
//
// The inner query makes two words for each 64 flags: those that fire, and those
// that are possible because nothing rules them out. Unknown is the difference.
func Select(relation string, parts ...Part) (string, error) {
	var inner, outer, helpers []string
	for i, p := range parts {
		if p.Prefix != "" && !codes.ValidID(p.Prefix) {
			return "", fmt.Errorf("column prefix %q, expected lower case letters, digits and underscores", p.Prefix)
		}
		for _, q := range parts[:i] {
			if q.Prefix == p.Prefix {
				return "", fmt.Errorf("column prefix %q stands twice", p.Prefix)
			}
		}
		in, out, help := p.sql()
		inner, outer, helpers = append(inner, in...), append(outer, out...), append(helpers, help...)
	}
	if len(parts) == 0 {
		return "SELECT * FROM " + relation, nil
	}
	return fmt.Sprintf("SELECT * EXCLUDE (%s),\n  %s\nFROM (\n  SELECT *,\n    %s\n  FROM %s\n)",
		strings.Join(helpers, ", "), strings.Join(outer, ",\n  "), strings.Join(inner, ",\n    "), relation), nil
}

// sql returns the part's columns of the inner and the outer query, and the
// names of the inner columns that are not handed on.
func (p Part) sql() (inner, outer, helpers []string) {
	g := p.Program
	for w := range g.Set.Words() {
		fired, possible := g.word(w)
		inner = append(inner,
			fmt.Sprintf("%s AS %sfired_%d", fired, p.Prefix, w),
			fmt.Sprintf("%s AS %spossible_%d", possible, p.Prefix, w))
		outer = append(outer, fmt.Sprintf("xor(%[1]spossible_%[2]d, %[1]sfired_%[2]d) AS %[1]sunknown_%[2]d", p.Prefix, w))
		helpers = append(helpers, fmt.Sprintf("%spossible_%d", p.Prefix, w))
	}
	inner = append(inner, fmt.Sprintf("%s AS %sspeaks", g.speaksSQL(), p.Prefix))
	helpers = append(helpers, p.Prefix+"speaks")
	for _, l := range []struct{ name, kind string }{{"rule_low", "fired"}, {"rule_level", "level"}, {"rule_high", "possible"}} {
		outer = append(outer, fmt.Sprintf("%s AS %s%s", p.levelSQL(l.kind), p.Prefix, l.name))
	}
	return inner, outer, helpers
}

// word returns the expressions of one word: the flags that fire, and those
// that nothing rules out.
func (p *Program) word(w int) (fired, possible string) {
	var f, q []string
	for i := w * 64; i < min(len(p.flags), (w+1)*64); i++ {
		yes, possible := p.flags[i].bitSQL(uint64(1) << (i % 64))
		f, q = append(f, yes), append(q, possible)
	}
	return "(" + strings.Join(f, "\n      | ") + ")", "(" + strings.Join(q, "\n      | ") + ")"
}

// bitSQL returns a word with the bit set where the flag fires, and one where
// nothing rules it out.
func (f *flag) bitSQL(bit uint64) (fired, possible string) {
	yes, no := f.sql()
	fired = fmt.Sprintf("CASE WHEN %s THEN %d::UBIGINT ELSE 0::UBIGINT END", yes, bit)
	if no == "" {
		return fired, fmt.Sprintf("%d::UBIGINT", bit)
	}
	return fired, fmt.Sprintf("CASE WHEN %s THEN 0::UBIGINT ELSE %d::UBIGINT END", no, bit)
}

// sql returns when the flag fires, and when it is ruled out ("" for never). A
// column that is NULL makes neither true, which is what unknown means.
func (f *flag) sql() (yes, no string) {
	var y, n []string
	add := func(yes, no string) {
		y = append(y, yes)
		if no != "" {
			n = append(n, no)
		}
	}
	for _, a := range []struct {
		column string
		list   []string
	}{{"species", f.Species}, {"sex", f.Sex}, {"neutered", f.Neutered}, {"breed_group", f.BreedGroup}, {"complaint", f.Complaint}} {
		if len(a.list) > 0 {
			in := quoteAll(a.list)
			add(fmt.Sprintf("%s IN (%s)", a.column, in), fmt.Sprintf("%s NOT IN (%s, '', '%s')", a.column, in, unknownWord))
		}
	}
	if f.Age.Limits() {
		add(between("age_months", max(f.Age.AtLeast, 0), ageBelow(f.Age)))
	}
	for i := range f.conds {
		add(f.conds[i].sql())
	}
	return strings.Join(y, " AND "), strings.Join(n, " OR ")
}

// ageBelow returns the last month inside the span.
func ageBelow(a AgeSpan) int {
	if a.Below < 0 {
		return math.MaxInt32
	}
	return a.Below - 1
}

// sql returns when the condition is true and when it is false.
func (c *cond) sql() (yes, no string) {
	if c.code {
		yes, no = inPlaces(c.column, c.yes), inPlaces(c.column, c.readable&^c.yes)
		if yes == "" { // is_not named every code
			yes = "false"
		}
		return yes, no
	}
	return between(c.column, int(c.low), int(c.high))
}

// between returns when a column lies from low to high, and when it is a reading
// that does not. low > high means never.
func between(column string, low, high int) (yes, no string) {
	switch {
	case low > high:
		return "false", fmt.Sprintf("%s >= 0", column)
	case low <= 0 && high == math.MaxInt32:
		return fmt.Sprintf("%s >= 0", column), ""
	case high == math.MaxInt32:
		return fmt.Sprintf("%s >= %d", column, low), fmt.Sprintf("%s BETWEEN 0 AND %d", column, low-1)
	case low <= 0:
		return fmt.Sprintf("%s BETWEEN 0 AND %d", column, high), fmt.Sprintf("%s > %d", column, high)
	}
	return fmt.Sprintf("%s BETWEEN %d AND %d", column, low, high),
		fmt.Sprintf("(%[1]s BETWEEN 0 AND %[2]d OR %[1]s > %[3]d)", column, low-1, high)
}

// inPlaces tests a column for the places in a set: "" for an empty set.
func inPlaces(column string, set uint64) string {
	var places []string
	for i := range 64 {
		if set>>i&1 == 1 {
			places = append(places, fmt.Sprint(i))
		}
	}
	switch len(places) {
	case 0:
		return ""
	case 1:
		return column + " = " + places[0]
	}
	return fmt.Sprintf("%s IN (%s)", column, strings.Join(places, ", "))
}

// speaksSQL is Program.speaks over columns.
func (p *Program) speaksSQL() string {
	var any []string
	for i := range p.asks {
		any = append(any, p.asks[i].assessedSQL())
	}
	return "coalesce((" + strings.Join(any, " OR ") + ")" + p.coveredSQL() + ", false)"
}

// assessedSQL is ask.assessed over the column.
func (a *ask) assessedSQL() string {
	if a.code {
		return inPlaces(a.column, a.readable)
	}
	return a.column + " >= 0"
}

// coveredSQL limits a condition to the species that some flag is meant for.
func (p *Program) coveredSQL() string {
	if p.covered == nil {
		return ""
	}
	return fmt.Sprintf(" AND species IN (%s)", quoteAll(p.covered))
}

// levelSQL returns the expression of one of the three levels over the words of
// the inner query.
func (p Part) levelSQL(kind string) string {
	g := p.Program
	var b strings.Builder
	fmt.Fprintf(&b, "CAST(CASE WHEN NOT %sspeaks THEN 0", p.Prefix)
	for l := codes.Emergency; l > g.Set.Otherwise; l-- {
		var any []string
		for w, demand := range g.demand[l] {
			bits := p.demanded(kind, w, demand, g.raise[w])
			if bits != "" {
				any = append(any, bits)
			}
		}
		if len(any) > 0 {
			fmt.Fprintf(&b, " WHEN %s THEN %d", strings.Join(any, " OR "), l)
		}
	}
	fmt.Fprintf(&b, " ELSE %d END AS TINYINT)", g.Set.Otherwise)
	return b.String()
}

// demanded tests one word for flags of a level: fired ones, all possible ones,
// or for kind "level" the fired ones and the possible ones that raise.
func (p Part) demanded(kind string, w int, demand, raise uint64) string {
	test := func(name string, bits uint64) string {
		if bits == 0 {
			return ""
		}
		return fmt.Sprintf("%s%s_%d & %d::UBIGINT <> 0", p.Prefix, name, w, bits)
	}
	if kind != "level" {
		return test(kind, demand)
	}
	a, b := test("possible", demand&raise), test("fired", demand&^raise)
	if a != "" && b != "" {
		return a + " OR " + b
	}
	return a + b
}

// quote makes a string literal of any text. It is the only way from a word of
// a rules file into a query.
func quote(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }

func quoteAll(list []string) string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = quote(s)
	}
	return strings.Join(out, ", ")
}
