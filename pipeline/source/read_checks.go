package source

import (
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/strict"
)

// checks reads the answers of checks, in the long form (a row a check: items)
// or the wide form (a column a check: wide).
func (r *reader) checks() {
	d := r.d
	long, wide := r.top.Get("items"), r.top.Get("wide")
	if long.Exists() == wide.Exists() {
		found := "neither"
		if long.Exists() {
			found = "both"
		}
		r.top.At().Fail("items (a row a check) or wide (a column a check)", found, "keep the one that fits the export")
		return
	}
	if r.dict == nil {
		r.top.At().Fail("a dictionary of findings", "none", "load one first")
		return
	}
	if wide.Exists() {
		r.wide(wide)
		return
	}
	if d.Item == nil || d.Reading == nil {
		r.top.Get("columns").Fail("the columns finding and reading", "one of them missing", "name the export's columns of the check's word and of its answer")
	}
	m := long.AnyMap()
	d.Items = map[string]Reading{}
	ids := map[string]string{}
	for _, word := range m.Keys() {
		n := m.Get(word)
		d.Items[word] = r.reading(n.Map("finding", "words", "unit", "also", "count_from", "window_from"))
		if f := d.Items[word].Finding; f != nil {
			ids[word] = f.ID
		}
	}
	clash(long, m.Keys(), ids)
}

func (r *reader) wide(n strict.Node) {
	if r.d.Item != nil || r.d.Reading != nil {
		n.Fail("no finding and reading columns in the wide form", "one", "remove them from columns, or use items")
	}
	m := n.AnyMap()
	for _, name := range m.Keys() {
		c := m.Get(name).Map("finding", "words", "unit", "also", "count_from", "window_from", "blank", "optional")
		w := WideColumn{Column: name, Reading: r.reading(c)}
		if b := c.Get("blank"); b.Exists() {
			w.SkipBlank = b.Choice("skip", "not_asked") == "skip"
		}
		if o := c.Get("optional"); o.Exists() {
			w.Optional = o.Bool()
		}
		r.d.Wide = append(r.d.Wide, w)
	}
}

// reading reads how one check's answers are written.
func (r *reader) reading(m strict.Map) Reading {
	out := Reading{Convert: Conversion{Factor: 1}}
	n := m.Need("finding")
	id := n.ID()
	if id == "" {
		return out
	}
	f, ok := r.dict.Finding(id)
	if !ok {
		n.Fail("a finding of the dictionary", strict.Quote(id), "correct its name, or add it to the site's dictionary")
		return out
	}
	out.Finding = f
	if f.Kind == findings.Code {
		for _, k := range []string{"unit", "also", "count_from", "window_from"} {
			m.Get(k).Fail("no "+k+": "+id+" is recorded in words", "one", "remove it")
		}
		out.Words = r.words(m.Get("words"), f)
		return out
	}
	m.Get("words").Fail("a unit: "+id+" is a number", "words", "remove words and add unit")
	r.number(m, &out)
	return out
}

// words reads a table from the export's words to a finding's codes.
func (r *reader) words(n strict.Node, f *findings.Finding) map[string]string {
	if !n.Exists() {
		return nil
	}
	m, out := n.AnyMap(), map[string]string{}
	for _, word := range m.Keys() {
		to := m.Get(word)
		s, ok := to.Literal() // codes such as no and yes stand without quotes
		if !ok {
			continue
		}
		if f.Position(s) == 0 {
			to.Fail("a code of "+f.ID, strict.Quote(s), "use one of the dictionary's codes")
			continue
		}
		out[word] = s
	}
	clash(n, m.Keys(), out)
	return out
}

// number reads the unit of a number finding, or how it was counted.
func (r *reader) number(m strict.Map, out *Reading) {
	base, ok := baseUnit(out.Finding.Unit)
	if !ok {
		m.At().Fail("a finding whose unit can be converted", out.Finding.Unit, "use one of the known units in the dictionary")
		return
	}
	n := m.Need("unit")
	if s, _ := n.Literal(); s == Count {
		out.Counted = true
		if base.dimension != "rate" {
			n.Fail("a unit of "+out.Finding.Unit, "count", "only rates are counted")
		}
		out.WindowFrom = m.Need("window_from").Text()
		if c := m.Get("count_from"); c.Exists() {
			out.CountFrom = c.Text()
		}
		m.Get("also").Fail("no also beside unit: count", "one", "remove it")
		return
	}
	for _, k := range []string{"count_from", "window_from"} {
		m.Get(k).Fail(k+" only beside unit: count", "one", "remove it or set unit: count")
	}
	if u, ok := unitNode(n, base); ok {
		out.Unit, out.Convert = u, u.To(base)
	}
	if a := m.Get("also"); a.Exists() {
		r.also(a.Map("unit", "between"), base, out)
	}
}

// also reads a second unit in which some numbers are written by mistake. Its
// range must not overlap what is possible in the first unit, or the slip could
// not be told from a reading.
func (r *reader) also(m strict.Map, base Unit, out *Reading) {
	u, ok := unitNode(m.Need("unit"), base)
	between := m.Need("between")
	bounds := between.List()
	if !ok || !between.Exists() {
		return
	}
	if len(bounds) != 2 {
		between.Fail("a list of two numbers", "another list", "write [lowest, highest]")
		return
	}
	low, _ := bounds[0].Number()
	high, _ := bounds[1].Number()
	hardLow, hardHigh := widest(out.Finding)
	back := base.To(out.Unit)
	firstLow, firstHigh := back.Apply(hardLow), back.Apply(hardHigh)
	switch conv := u.To(base); {
	case low >= high:
		between.Fail("the lower number first", "the higher one", "swap them")
	case u.Name == out.Unit.Name:
		m.Get("unit").Fail("another unit than the first", "the same", "remove also")
	case low <= firstHigh && high >= firstLow:
		between.Fail("a range outside "+formatNumber(firstLow)+" to "+formatNumber(firstHigh)+", which is possible in the first unit", "an overlap", "narrow the range: where both units are possible nothing can be told")
	default:
		out.Also, out.AlsoConvert, out.AlsoLow, out.AlsoHigh = &u, conv, low, high
	}
}

// Limits returns the widest hard range of any species, in the finding's unit.
func Limits(f *findings.Finding) (low, high float64) { return widest(f) }

func widest(f *findings.Finding) (low, high float64) {
	first := true
	for _, r := range f.Hard {
		if first || r.Low < low {
			low = r.Low
		}
		if first || r.High > high {
			high = r.High
		}
		first = false
	}
	return low, high
}
