package source

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/records"
	"hindcheck/pipeline/strict"
)

// readingKey is the one key under columns that is no column of the table.
const readingKey = "reading"

// columns reads the mappings of all columns and sorts them as the table has them.
func (r *reader) columns() {
	t := r.d.Table
	checks := t.Name == records.Checks.Name
	var names []string
	for _, c := range t.Columns {
		if !c.Written {
			names = append(names, c.Name)
		}
	}
	if checks {
		names = append(names, readingKey)
	}
	m := r.top.Need("columns").Map(names...)
	if !m.At().IsGroup() {
		return
	}
	for _, name := range m.Keys() {
		i := t.Index(name)
		switch {
		case name == readingKey && checks:
			r.d.Reading = r.plain(m.Get(name))
		case name == "finding" && checks:
			r.d.Item = r.plain(m.Get(name))
		case i >= 0 && !t.Columns[i].Written:
			r.d.Columns = append(r.d.Columns, r.column(m.Get(name), t.Columns[i]))
		}
	}
	slices.SortFunc(r.d.Columns, func(a, b Column) int { return cmp.Compare(t.Index(a.Target.Name), t.Index(b.Target.Name)) })
	for _, c := range t.Columns {
		if c.Required && !c.Written && !m.Has(c.Name) && !(checks && slices.Contains([]string{"finding", "seq", "state"}, c.Name)) {
			m.At().Fail("the column "+c.Name, "none", "add "+c.Name+": with the export's column under from, or a constant under value")
		}
	}
}

// plain reads a mapping that can only name a column.
func (r *reader) plain(n strict.Node) *Column {
	m := n.Map("from", "optional")
	c := &Column{Line: n.Line()}
	if name := m.Need("from").Text(); name != "" {
		c.From = [][]string{{name}}
	}
	if o := m.Get("optional"); o.Exists() {
		c.Optional = o.Bool()
	}
	return c
}

// keysFor lists what may be said about a column of a kind.
func keysFor(t records.Column) []string {
	keys := []string{"from", "first_of", "value", "optional"}
	switch t.Kind {
	case records.UUID:
		return append(keys, "key", "pseudonym")
	case records.Time, records.Date:
		return append(keys, "layout")
	case records.Text, records.Boolean:
		return append(keys, "values")
	}
	if t.Unit != "" {
		return append(keys, "unit", "unit_from", "units")
	}
	return keys
}

// column reads the mapping of one record column.
func (r *reader) column(n strict.Node, t records.Column) Column {
	m := n.Map(keysFor(t)...)
	c := Column{Target: t, Convert: Conversion{Factor: 1}, Line: n.Line()}
	if !m.At().IsGroup() {
		return c
	}
	r.origin(m, &c)
	if o := m.Get("optional"); o.Exists() {
		c.Optional = o.Bool()
		if c.Optional && t.Required {
			o.Fail("optional: false", "a column that must be filled", "remove optional")
		}
	}
	switch t.Kind {
	case records.UUID:
		r.keySpace(m, &c)
	case records.Time, records.Date:
		if !c.HasConstant {
			c.Layout = r.layout(m.Need("layout"))
		}
	case records.Text, records.Boolean:
		c.Values = values(m.Get("values"), t)
	default:
		r.units(m, &c)
	}
	return c
}

// keySpace reads whether the cells are the export's own keys, of which
// pseudonyms are made, or pseudonyms already, as a form of ours holds them.
func (r *reader) keySpace(m strict.Map, c *Column) {
	p := m.Get("pseudonym")
	if !p.Exists() {
		if k := m.Need("key"); k.Exists() {
			k.Choice(c.Target.Space)
		}
		return
	}
	p.Choice(c.Target.Space)
	c.Pseudonym = true
	m.Get("key").Fail("one of key and pseudonym", "both", "keep key for the export's own numbers, pseudonym for what hindcheck printed")
	for _, alt := range c.From {
		if len(alt) != 1 {
			p.Fail("one column", "several", "a pseudonym stands in one cell")
		}
	}
}

// origin reads where the cells come from: exactly one of from, first_of, value.
func (r *reader) origin(m strict.Map, c *Column) {
	given := 0
	for _, k := range []string{"from", "first_of", "value"} {
		if m.Has(k) {
			given++
		}
	}
	if given != 1 {
		found := "none of them"
		if given > 1 {
			found = "more than one of them"
		}
		m.At().Fail("one of from, first_of and value", found, "keep the one that says where the value comes from")
		return
	}
	composite := func(n strict.Node) []string {
		if n.IsList() && c.Target.Kind != records.UUID {
			n.Fail("one column", "several", "only keys are made of several columns")
			return nil
		}
		return n.Each(strict.Node.Text)
	}
	switch {
	case m.Has("from"):
		c.From = [][]string{composite(m.Get("from"))}
	case m.Has("first_of"):
		for _, alt := range m.Get("first_of").List() {
			c.From = append(c.From, composite(alt))
		}
	default:
		r.constant(m.Get("value"), c)
	}
}

// constant reads and checks a value that every row gets.
func (r *reader) constant(n strict.Node, c *Column) {
	s, ok := n.Literal()
	if !ok {
		return
	}
	t := c.Target
	switch t.Kind {
	case records.UUID:
		n.Fail("the export's column", "a constant key", "use from: keys tell records apart")
		return
	case records.Time, records.Date:
		n.Fail("the export's column", "a constant time", "use from")
		return
	case records.Text:
		if problem := illegal(t, s); problem != "" {
			n.Fail(problem, strict.Quote(s), "correct the word")
		}
	case records.Boolean:
		if s != "true" && s != "false" {
			n.Fail("true or false", strict.Quote(s), "write one of the two")
		}
	default:
		v, ok := Decimal([]byte(s), '.')
		if !ok || t.High > t.Low && (v < t.Low || v > t.High) {
			n.Fail("a number from "+formatNumber(t.Low)+" to "+formatNumber(t.High), strict.Quote(s), "correct the number; it is taken in the stored unit "+t.Unit)
		}
	}
	c.Constant, c.HasConstant = s, true
}

// MaxWord is the longest text in bytes that is kept as it is: longer text is
// prose, and prose may name people.
const MaxWord = 64

// MaxWords is the most words, parted by space, of such a text: a name of a code
// has a few, a sentence more.
const MaxWords = 5

// maxDigits is one less than the digits of a telephone number with its area
// code; a date has eight.
const maxDigits = 8

// Prose tells whether a text that would be kept as it is may be a sentence, a
// telephone number or an address of mail, which are never kept.
func Prose(text string) bool {
	if len(text) > MaxWord || len(strings.Fields(text)) > MaxWords || strings.ContainsAny(text, "@\n") {
		return true
	}
	digits := 0
	for _, c := range text {
		switch {
		case c >= '0' && c <= '9':
			if digits++; digits > maxDigits {
				return true
			}
		case !strings.ContainsRune(" +-/.()", c):
			digits = 0
		}
	}
	return false
}

// illegal returns what is expected when word may not be stored in column t.
func illegal(t records.Column, word string) string {
	switch {
	case t.Words.Name() != "":
		if !t.Words.Has(word) {
			return "one of " + t.Words.String()
		}
	case t.Identifier:
		if !codes.ValidID(word) {
			return "an identifier of a-z, 0-9 and _"
		}
	case strings.TrimSpace(word) == "" || len(word) > MaxWord:
		return fmt.Sprintf("a word of 1 to %d characters", MaxWord)
	}
	return ""
}

// values reads a table from the export's words to stored words.
func values(n strict.Node, t records.Column) map[string]string {
	if !n.Exists() {
		return nil
	}
	out := map[string]string{}
	m := n.AnyMap()
	for _, word := range m.Keys() {
		to := m.Get(word)
		if t.Kind == records.Boolean {
			out[word] = strconv.FormatBool(to.Bool())
			continue
		}
		s := to.Text()
		if s == "" {
			continue
		}
		if problem := illegal(t, s); problem != "" {
			to.Fail(problem, strict.Quote(s), "correct the word")
			continue
		}
		out[word] = s
	}
	clash(n, m.Keys(), out)
	if len(m.Keys()) == 0 && n.IsGroup() {
		n.Fail("at least one word", "none", "list the export's words, or remove values")
	}
	return out
}

// clash reports words that differ only in case or space and lead apart: words
// are compared without regard to either.
func clash(n strict.Node, keys []string, to map[string]string) {
	seen := map[string]string{}
	for _, k := range keys {
		f := Fold(k)
		if first, ok := seen[f]; ok && to[first] != to[k] {
			n.Fail("words that differ in more than case and space", strict.Quote(first)+" and "+strict.Quote(k), "keep one of them, or let both lead to the same word")
		}
		seen[f] = k
	}
}

// Fold brings a word to the form in which words are compared: lower case,
// white space of any kind as single spaces, straight quotes and hyphens.
func Fold(s string) string {
	s = strings.ToLower(foldSigns.Replace(s))
	return strings.Join(strings.Fields(s), " ")
}

// FindColumn returns the places of a column in a file's header: those with
// exactly the name, else those that agree with it but for case and space. More
// than one place means that the file does not say which is meant.
func FindColumn(header []string, name string) (places []int) {
	for i, h := range header {
		if h == name {
			places = append(places, i)
		}
	}
	if len(places) > 0 {
		return places
	}
	folded := Fold(name)
	for i, h := range header {
		if h != "" && Fold(h) == folded {
			places = append(places, i)
		}
	}
	return places
}

var foldSigns = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2007", " ", "\u2009", " ", "\u200b", "", "\ufeff", "",
	"\u2018", "'", "\u2019", "'", "\u201c", `"`, "\u201d", `"`, "\u2010", "-", "\u2011", "-", "\u2013", "-", "\u2212", "-")

// units reads the unit of a number column.
func (r *reader) units(m strict.Map, c *Column) {
	if c.Target.Unit == "" || c.HasConstant {
		for _, k := range []string{"unit", "unit_from", "units"} {
			m.Get(k).Fail("no "+k+" beside a constant", "one", "remove it: constants are in the stored unit")
		}
		return
	}
	base, _ := baseUnit(c.Target.Unit)
	switch {
	case m.Has("unit") && m.Has("unit_from"):
		m.At().Fail("either unit or unit_from", "both", "keep one of them")
	case m.Has("unit_from"):
		c.UnitFrom = m.Get("unit_from").Text()
		c.Units = map[string]Conversion{}
		us := m.Need("units").AnyMap()
		for _, word := range us.Keys() {
			if u, ok := unitNode(us.Get(word), base); ok {
				c.Units[word] = u.To(base)
			}
		}
	default:
		if n := m.Need("unit"); n.Exists() {
			if u, ok := unitNode(n, base); ok {
				c.Unit, c.Convert = u, u.To(base)
			}
		}
	}
	if !m.Has("unit_from") {
		m.Get("units").Fail("units only beside unit_from", "units", "remove it or name the column of the unit")
	}
}

// unitNode reads a unit that must measure the same as base.
func unitNode(n strict.Node, base Unit) (Unit, bool) {
	s := n.Text()
	if s == "" {
		return Unit{}, false
	}
	u, ok := ParseUnit(s)
	if !ok || !u.Same(base) {
		var fit []string
		for _, v := range units {
			if v.Same(base) {
				fit = append(fit, v.Name)
			}
		}
		n.Fail("one of the units "+strings.Join(fit, ", "), strict.Quote(s), "correct the unit")
		return Unit{}, false
	}
	return u, true
}

func formatNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
