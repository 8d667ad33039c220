package findings

import (
	_ "embed"
	"fmt"
	"math"
	"sync"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/strict"
)

//go:embed dictionary.yaml
var defaultFile []byte

// Schema is the JSON Schema of a dictionary file, for editors that check while
// typing. The reader checks more.
//
//go:embed dictionary.schema.json
var Schema []byte

// Default returns the dictionary that every installation knows. It panics only
// if the file built into the program is broken.
var Default = sync.OnceValue(func() *Dictionary {
	d, err := Parse("default dictionary", defaultFile)
	if err != nil {
		panic(err)
	}
	return d
})

// Load reads the dictionary in force. An empty path means Default. A file with
// the key `extends` is merged into Default, see Extend; any other is complete.
// The error is strict.Problems with every mistake and its place.
func Load(path string) (*Dictionary, error) {
	if path == "" {
		return Default(), nil
	}
	data, err := strict.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return ParseOrExtend(path, data)
}

// ParseOrExtend reads a dictionary that is complete, or one with the key
// `extends`, which is merged into Default. file is its name in messages.
func ParseOrExtend(file string, data []byte) (*Dictionary, error) {
	if _, top := strict.Parse(file, data); top.AnyMap().Has("extends") {
		return Default().Extend(file, data)
	}
	return Parse(file, data)
}

// Parse reads a complete dictionary. file is its name in messages.
func Parse(file string, data []byte) (*Dictionary, error) {
	doc, top := strict.Parse(file, data)
	m := top.Map("dictionary", "title", "findings")
	d := &Dictionary{ID: m.Need("dictionary").ID(), Title: m.Need("title").Text()}
	d.index = map[string]int{}
	d.readFindings(m.Need("findings"))
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return d, nil
}

// maxFindings bounds the dictionary: each finding is a column.
const maxFindings = 1000

// readFindings appends the findings of a list; one that is there already is a problem.
func (d *Dictionary) readFindings(list strict.Node) {
	for _, n := range list.List() {
		f := readFinding(n)
		if _, dup := d.index[f.ID]; dup && f.ID != "" {
			n.Fail("each finding once", fmt.Sprintf("%q again", f.ID), "append codes under append_codes, or choose another id")
			continue
		}
		if len(d.Findings) == maxFindings {
			n.Fail(fmt.Sprintf("at most %d findings", maxFindings), "one more", "split the dictionary")
			return
		}
		d.index[f.ID] = len(d.Findings)
		d.Findings = append(d.Findings, f)
	}
}

func readFinding(n strict.Node) Finding {
	m := n.Map("id", "title", "kind", "ask", "setting_note", "source", "codes", "unit", "scale", "bad", "hard", "usual", "near")
	f := Finding{
		ID: m.Need("id").ID(), Title: m.Need("title").Text(), Ask: m.Need("ask").Text(),
		Kind:        Kind(m.Need("kind").Choice(string(Code), string(Number))),
		SettingNote: m.Get("setting_note").Text(), Source: m.Need("source").Text(),
	}
	switch f.Kind {
	case Code:
		for _, k := range []string{"unit", "scale", "bad", "hard", "usual", "near"} {
			m.Get(k).Fail("no "+k+" in a finding of kind code", "one", "delete the key")
		}
		f.appendCodes(m.Need("codes"))
	case Number:
		m.Get("codes").Fail("no codes in a finding of kind number", "some", "delete the key")
		f.readNumber(m)
	}
	return f
}

func (f *Finding) readNumber(m strict.Map) {
	f.Unit = m.Need("unit").Choice("s", "min", "h", "d", "/min", "degC", "kg", "g", "mm", "cm", "count", "percent", "score", "ml", "g/l", "g/dl", "mmol/l", "ph")
	f.Scale = 1
	if n := m.Need("scale"); n.Exists() {
		f.Scale = n.Int(1, 1000)
		if f.Scale != 1 && f.Scale != 10 && f.Scale != 100 && f.Scale != 1000 {
			n.Fail("1, 10, 100 or 1000", fmt.Sprint(f.Scale), "use the power of ten that keeps the decimals you record")
		}
	}
	f.Bad = Bad(m.Need("bad").Choice(string(High), string(Low), string(Both)))
	f.Hard = map[string]Range{}
	f.Usual = map[string]Range{}
	f.readRanges(f.Hard, m.Need("hard"), true)
	f.readRanges(f.Usual, m.Get("usual"), false)
	f.readNear(m.Get("near"))
	if _, ok := f.Hard[AnySpecies]; !ok && m.Has("hard") {
		m.Get("hard").Fail("a range for any species", "none", "add any: {low: .., high: ..}")
	}
}

// readNear reads how far from a threshold a reading is just short of it.
func (f *Finding) readNear(n strict.Node) {
	if !n.Exists() {
		return
	}
	m := n.Map("by", "source")
	by, text := m.Need("by").Number()
	if text != "" && !(by > 0) {
		n.Fail("a number above 0", text, "give the distance that a second reading could bridge, or delete the key")
	}
	f.Near = Near{By: by, Source: m.Need("source").Text()}
}

// readRanges adds the ranges of a group of species; a later one replaces.
func (f *Finding) readRanges(into map[string]Range, n strict.Node, hard bool) {
	m := n.AnyMap()
	for _, species := range m.Keys() {
		at := m.Get(species)
		if !codes.SpeciesLegal(species) {
			at.Fail("a species", fmt.Sprintf("%q", species), "use lower case and underscores")
			continue
		}
		into[species] = f.readRange(at, hard)
	}
}

func (f *Finding) readRange(n strict.Node, hard bool) Range {
	m := n.Map("low", "high", "source")
	low, lowText := m.Need("low").Number()
	high, highText := m.Need("high").Number()
	r := Range{Low: low, High: high}
	if s := m.Get("source"); s.Exists() || !hard {
		r.Source = m.Need("source").Text()
	}
	if lowText == "" || highText == "" {
		return r
	}
	if low > high {
		n.Fail("low below high", lowText+" and "+highText, "exchange them")
	}
	if hard && low < 0 {
		n.Fail("a hard range from 0 upwards", lowText, "negative numbers stand for checks that were not made; choose another unit")
	}
	if high*float64(f.Scale) > math.MaxInt32 {
		n.Fail("a high end that can be stored", highText, "use a smaller scale or a larger unit")
	}
	return r
}

// appendCodes adds the codes of a list at the end.
func (f *Finding) appendCodes(list strict.Node) {
	for _, n := range list.List() {
		m := n.Map("code", "title", "normal", "unreadable")
		o := Option{ID: m.Need("code").ID(), Title: m.Need("title").Text(),
			Normal: m.Get("normal").Bool(), Unreadable: m.Get("unreadable").Bool()}
		switch {
		case o.ID != "" && f.Position(o.ID) > 0:
			n.Fail("each code once", fmt.Sprintf("%q again", o.ID), "delete one of them")
			continue
		case len(f.Codes) == MaxCodes:
			n.Fail(fmt.Sprintf("at most %d codes", MaxCodes), "one more", "use fewer, coarser codes")
			return
		case o.Normal && o.Unreadable:
			n.Fail("normal or unreadable", "both", "an answer that could not be read is not normal")
		}
		f.Codes = append(f.Codes, o)
	}
}
