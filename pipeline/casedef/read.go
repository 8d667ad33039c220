package casedef

import (
	"fmt"
	"slices"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/strict"
)

// maxWindowHours is 60 days; a longer window is another question.
const maxWindowHours = 1440

// Load reads a case definition. The error is strict.Problems with every mistake.
func Load(path string) (*Definition, error) {
	data, err := strict.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return Parse(path, data)
}

// Parse reads the text of a case definition; file is its name in messages.
func Parse(file string, data []byte) (*Definition, error) {
	doc, top := strict.Parse(file, data)
	m := top.Map("case_definition", "title", "window_hours", "owner_contact", "components", "emergency", "same_day")
	d := &Definition{File: file, ID: m.Need("case_definition").ID(), Title: m.Need("title").Text(),
		WindowHours:      m.Need("window_hours").Int(1, maxWindowHours),
		OwnerContactSeen: m.Get("owner_contact").Choice("later", "seen_at") == "seen_at",
		Criteria:         map[Component]Criterion{}}
	d.readCriteria(m.Need("components"))
	d.Emergency = d.readCut(m.Need("emergency"))
	d.SameDay = d.readCut(m.Need("same_day"))
	for _, c := range d.Emergency {
		if !slices.Contains(d.SameDay, c) {
			m.Get("same_day").Fail("every component of emergency", "no "+string(c),
				"what makes an emergency also makes a need within the day; add it")
		}
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	for _, c := range Components() {
		if _, ok := d.Criteria[c]; !ok {
			d.Criteria[c] = Criterion{Hours: d.WindowHours}
		}
	}
	return d, nil
}

func (d *Definition) readCriteria(n strict.Node) {
	var names []string
	for _, c := range Components() {
		names = append(names, string(c))
	}
	m := n.Map(names...)
	for _, c := range Components() {
		at := m.Get(string(c))
		if !at.Exists() {
			continue
		}
		allowed := []string{"hours", "unrecorded"}
		if c == Euthanasia {
			allowed = append(allowed, "reasons")
		}
		v := at.Map(allowed...)
		crit := Criterion{Hours: d.WindowHours, UnrecordedIsNo: v.Get("unrecorded").Choice("unknown", "no") == "no"}
		if h := v.Get("hours"); h.Exists() {
			crit.Hours = h.Int(1, max(d.WindowHours, 1))
		}
		if c == Euthanasia {
			crit.Reasons = v.Need("reasons").Each(func(n strict.Node) string { return n.Word(codes.EuthanasiaReasons) })
		}
		d.Criteria[c] = crit
	}
}

func (d *Definition) readCut(n strict.Node) []Component {
	var out []Component
	for _, w := range n.Each(strict.Node.ID) {
		c := Component(w)
		if _, ok := d.Criteria[c]; !ok {
			n.Fail("components that stand under components", fmt.Sprintf("%q", w), "describe it there, or correct the word")
			continue
		}
		out = append(out, c)
	}
	return out
}
