package rules

import (
	_ "embed"
	"fmt"
	"math/big"
	"strconv"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/strict"
)

// Schema is the JSON Schema of a rules file, for editors that check while
// typing. The reader checks more.
//
//go:embed rules.schema.json
var Schema []byte

// MaxFlags is the largest number of flags in one set.
const MaxFlags = 10_000

// maxConditions bounds one flag; a longer conjunction is a mistake.
const maxConditions = 50

// maxAgeMonths is 150 years, above the age of any animal on an advice line.
const maxAgeMonths = 1800

// Load reads a rules file. The error is strict.Problems with every mistake.
func Load(path string) (*Set, error) {
	data, err := strict.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return Parse(path, data)
}

// Parse reads the text of a rules file; file is its name in messages. Whether
// its findings and codes exist is decided by Compile, which knows the dictionary.
func Parse(file string, data []byte) (*Set, error) {
	doc, top := strict.Parse(file, data)
	m := top.Map("ruleset", "title", "owner", "reason", "effective", "expires", "status", "otherwise", "flags")
	s := &Set{
		File: file, ID: m.Need("ruleset").ID(), Title: m.Need("title").Text(), Owner: m.Need("owner").Text(),
		Reason: m.Need("reason").Text(), Status: m.Need("status").Text(),
		Effective: m.Need("effective").Date(), Expires: m.Get("expires").Date(), Otherwise: m.Need("otherwise").Level(),
	}
	if n := m.Get("expires"); n.Exists() && !s.Expires.IsZero() && s.Expires.Before(s.Effective) {
		n.Fail("a day not before effective", s.Expires.Format("2006-01-02"), "exchange or correct the two days")
	}
	s.HeadPos = map[string]Pos{}
	for _, k := range m.Keys() {
		s.HeadPos[k] = pos(m.Get(k))
	}
	seen := map[string]bool{}
	for i, n := range m.Need("flags").List() {
		if i == MaxFlags {
			n.Fail(fmt.Sprintf("at most %d flags", MaxFlags), "one more", "split the set, or merge flags that differ only in a code")
			break
		}
		f := readFlag(n)
		if f.ID != "" && seen[f.ID] {
			n.Fail("each flag once", strconv.Quote(f.ID)+" again", "choose another id")
		}
		seen[f.ID] = true
		s.Flags = append(s.Flags, f)
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return s, nil
}

func readFlag(n strict.Node) Flag {
	m := n.Map("id", "title", "why", "demands", "when_unknown", "species", "sex", "neutered", "age_months",
		"breed_group", "complaint", "all")
	f := Flag{
		Pos: pos(n), ID: m.Need("id").ID(), Title: m.Need("title").Text(), Why: m.Need("why").Text(),
		Demands: m.Need("demands").Level(), Raise: m.Need("when_unknown").Choice("raise", "leave") == "raise",
		Species: m.Get("species").Each(strict.Node.ID), Sex: m.Get("sex").Each(known(codes.Sexes)),
		Neutered: m.Get("neutered").Each(known(codes.Neutered)), Age: readAge(m.Get("age_months")),
		BreedGroup: m.Get("breed_group").Each(site), Complaint: m.Get("complaint").Each(site),
	}
	for i, c := range m.Need("all").List() {
		if i == maxConditions {
			c.Fail(fmt.Sprintf("at most %d conditions", maxConditions), "one more", "split the flag")
			break
		}
		f.All = append(f.All, readCondition(c))
	}
	return f
}

// unknownWord is the attribute word that stands for "not recorded".
const unknownWord = "unknown"

// known reads a word of a closed list that says something.
func known(l codes.List) func(strict.Node) string {
	return func(n strict.Node) string { return refuseUnknown(n, n.Word(l)) }
}

// site reads a word that the advice line has chosen itself.
func site(n strict.Node) string { return refuseUnknown(n, n.Text()) }

func refuseUnknown(n strict.Node, w string) string {
	if w == unknownWord {
		n.Fail("a word that is known", strconv.Quote(w),
			"what is not recorded makes a flag unknown by itself; use when_unknown")
		return ""
	}
	return w
}

func readAge(n strict.Node) AgeSpan {
	a := AgeSpan{AtLeast: -1, Below: -1}
	if !n.Exists() {
		return a
	}
	m := n.Map("at_least", "below")
	if v := m.Get("at_least"); v.Exists() {
		a.AtLeast = v.Int(0, maxAgeMonths)
	}
	if v := m.Get("below"); v.Exists() {
		a.Below = v.Int(1, maxAgeMonths)
	}
	switch {
	case len(m.Keys()) == 0:
		n.Fail("at_least, below or both", "neither", "add one, or delete age_months")
	case a.AtLeast >= 0 && a.Below >= 0 && a.AtLeast >= a.Below:
		n.Fail("at_least smaller than below", fmt.Sprintf("%d and %d", a.AtLeast, a.Below), "exchange the two")
	}
	return a
}

func readCondition(n strict.Node) Condition {
	m := n.Map("finding", "is", "is_not", "at_least", "above", "at_most", "below")
	c := Condition{Pos: pos(n), Finding: m.Need("finding").ID(),
		Is: m.Get("is").Each(strict.Node.ID), IsNot: m.Get("is_not").Each(strict.Node.ID)}
	c.Lower = readBound(m, "at_least", "above")
	c.Upper = readBound(m, "at_most", "below")
	words := m.Has("is") || m.Has("is_not")
	bounds := m.Has("at_least") || m.Has("above") || m.Has("at_most") || m.Has("below")
	switch {
	case !n.Exists():
	case m.Has("is") && m.Has("is_not"):
		n.Fail("is or is_not", "both", "delete one; the other codes follow")
	case words && bounds:
		n.Fail("codes or a threshold", "both", "write two conditions")
	case !words && !bounds:
		n.Fail("is, is_not, at_least, above, at_most or below", "none", "say which answers count")
	case c.Lower.Set() && c.Upper.Set():
		low, high := c.Lower.rat(), c.Upper.rat()
		if o := low.Cmp(high); o > 0 || o == 0 && !(c.Lower.Inclusive && c.Upper.Inclusive) {
			n.Fail("a lower bound below the upper one", c.Lower.Text+" and "+c.Upper.Text, "no reading can be both; correct one")
		}
	}
	return c
}

// readBound reads one end, written with either of two keys.
func readBound(m strict.Map, inclusive, exclusive string) Bound {
	if m.Has(inclusive) && m.Has(exclusive) {
		m.At().Fail(inclusive+" or "+exclusive, "both", "delete one")
		return Bound{}
	}
	if n := m.Get(exclusive); n.Exists() {
		_, text := n.Number()
		return Bound{Text: text}
	}
	_, text := m.Get(inclusive).Number()
	return Bound{Text: text, Inclusive: text != ""}
}

// rat returns the bound as an exact number.
func (b Bound) rat() *big.Rat {
	r, ok := new(big.Rat).SetString(b.Text)
	if !ok { // the reader takes plain decimals only
		return new(big.Rat)
	}
	return r
}

func pos(n strict.Node) Pos {
	line, column := n.Place()
	return Pos{line, column}
}
