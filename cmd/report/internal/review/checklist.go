package review

import (
	_ "embed"
	"sync"

	"hindcheck/pipeline/strict"
)

// Checklist says where the review answers what published standards ask.
type Checklist struct {
	Sources []ChecklistSource `json:"sources"`
	Items   []ChecklistItem   `json:"items"`
}

// ChecklistSource is one standard.
type ChecklistSource struct {
	Standard string `json:"standard"`
	Cite     string `json:"cite"`
}

// ChecklistItem is one thing that a standard asks, in our own words.
type ChecklistItem struct {
	Standard string `json:"standard"`
	Item     string `json:"item"`
	Asks     string `json:"asks"`
	// Answer is full, part or none.
	Answer string `json:"answer"`
	// Part is the id of the part of the page, empty where there is none.
	Part string `json:"part"`
	// Says is what is found there, or why the item does not apply.
	Says string `json:"says"`
}

//go:embed checklist.yaml
var checklistFile []byte

// checklist reads the list once.
var checklist = sync.OnceValues(func() (Checklist, error) {
	doc, top := strict.Parse("built-in checklist", checklistFile)
	m := top.Map("sources", "items")
	var c Checklist
	for _, n := range m.Need("sources").List() {
		s := n.Map("id", "cite")
		c.Sources = append(c.Sources, ChecklistSource{s.Need("id").Text(), s.Need("cite").Text()})
	}
	for _, n := range m.Need("items").List() {
		i := n.Map("standard", "item", "asks", "answer", "part", "says")
		item := ChecklistItem{Standard: i.Need("standard").Text(), Item: i.Need("item").Text(), Asks: i.Need("asks").Text(),
			Answer: i.Need("answer").Choice("full", "part", "none"), Says: i.Need("says").Text()}
		if p := i.Get("part"); p.Exists() {
			item.Part = p.ID()
		}
		if (item.Part == "") != (item.Answer == "none") {
			i.At().Fail("a part, or none", item.Answer, "name the part that answers, or say none")
		}
		c.Items = append(c.Items, item)
	}
	return c, doc.Err()
})

func (b *builder) fillChecklist(r *Review) (err error) {
	r.Checklist, err = checklist()
	return err
}
