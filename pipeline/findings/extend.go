package findings

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"hindcheck/pipeline/strict"
)

// Extend returns d with a site's own file merged in; d stays as it is. The file
// names d under `extends` and may hold
//
//	findings:      new findings, appended in order
//	append_codes:  - {finding: gum_colour, codes: [...]}   new codes at the end
//	ranges:        - {finding: heart_rate, hard: {...}, usual: {...}, near: {...}}   by species but for near
//
// What d has can be added to, and its ranges replaced, but nothing taken away:
// the place of a code is on disk. Several files are merged by calling Extend in
// turn. The error is strict.Problems.
func (d *Dictionary) Extend(file string, data []byte) (*Dictionary, error) {
	doc, top := strict.Parse(file, data)
	m := top.Map("dictionary", "title", "extends", "findings", "append_codes", "ranges")
	out := d.clone()
	out.ID, out.Title = m.Need("dictionary").ID(), m.Need("title").Text()
	if base := m.Need("extends"); base.ID() != d.ID {
		base.Fail("the id of the dictionary that is extended, "+d.ID, "another", "correct it, or look which dictionary is in force")
	}
	for _, n := range m.Get("append_codes").List() {
		e := n.Map("finding", "codes")
		if f := out.named(e.Need("finding"), Code); f != nil {
			f.appendCodes(e.Need("codes"))
		}
	}
	for _, n := range m.Get("ranges").List() {
		e := n.Map("finding", "hard", "usual", "near")
		if f := out.named(e.Need("finding"), Number); f != nil {
			f.readRanges(f.Hard, e.Get("hard"), true)
			f.readRanges(f.Usual, e.Get("usual"), false)
			f.readNear(e.Get("near"))
		}
	}
	out.readFindings(m.Get("findings"))
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return out, nil
}

// named reads the id of a finding of the given kind that the dictionary has.
func (d *Dictionary) named(n strict.Node, kind Kind) *Finding {
	id := n.ID()
	if id == "" {
		return nil
	}
	f, ok := d.Finding(id)
	if !ok {
		n.Fail("a finding of the dictionary that is extended", fmt.Sprintf("%q", id), "correct the id, or describe it under findings")
		return nil
	}
	if f.Kind != kind {
		n.Fail("a finding of kind "+string(kind), fmt.Sprintf("%q, which is a %s", id, f.Kind), "choose another finding")
		return nil
	}
	return f
}

func (d *Dictionary) clone() *Dictionary {
	out := &Dictionary{ID: d.ID, Title: d.Title, Findings: slices.Clone(d.Findings)}
	for i := range out.Findings {
		f := &out.Findings[i]
		f.Codes = slices.Clone(f.Codes)
		f.Hard = maps.Clone(f.Hard)
		f.Usual = maps.Clone(f.Usual)
	}
	out.reindex()
	return out
}

// Hash returns the SHA-256, in hexadecimal, of all that the dictionary says,
// wording and order included. It is the same for the same content whatever the
// layout of the file.
func (d *Dictionary) Hash() string {
	return hash(struct {
		ID, Title string
		Findings  []Finding
	}{d.ID, d.Title, d.Findings})
}

// StoredHash covers only what decides the numbers in `cases`: ids, kinds, order
// of codes, unreadable codes, scales and highest legal readings. While it stays
// the same, stored cases stay right; a new sentence does not change it.
func (d *Dictionary) StoredHash() string {
	type stored struct {
		ID         string
		Kind       Kind
		Codes      []string
		Unreadable []bool
		Scale      int
		High       float64
	}
	all := make([]stored, len(d.Findings))
	for i := range d.Findings {
		f := &d.Findings[i]
		s := stored{ID: f.ID, Kind: f.Kind, Scale: f.Scale, High: f.highest()}
		for _, c := range f.Codes {
			s.Codes = append(s.Codes, c.ID)
			s.Unreadable = append(s.Unreadable, c.Unreadable)
		}
		all[i] = s
	}
	return hash(all)
}

func hash(v any) string {
	data, err := json.Marshal(v)
	if err != nil { // only numbers that are none can fail, and the reader refuses them
		panic(err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}
