package page

import (
	"fmt"
	"html/template"
	"strconv"
)

// section is one numbered part of the page: sections/ID.html holds its words,
// sections/ID.css its own style if it needs any.
type section struct {
	id string
	// title is the heading, short the entry of the contents list.
	title, short string
}

// chapter groups parts in the contents list.
type chapter struct {
	name     string
	sections []section
}

// chapters is the order of the page below its first sheet.
var chapters = []chapter{
	{"The month", []section{
		{"month", "This month in counts", "Counts"},
		{"warnings", "Early warnings", "Early warnings"},
		{"cases", "Cases to discuss", "Cases to discuss"},
		{"stayed", "Sent in and did not go", "Sent in, did not go"},
		{"safety", "People hurt", "People hurt"},
		{"actions", "Actions agreed on", "Actions"},
	}},
	{"The advice", []section{
		{"accuracy", "Under-triage and over-triage of the advice", "Under- and over-triage"},
		{"levels", "Advice against the level the vet saw", "Advice and outcome"},
		{"followup", "The drawn follow-up sample", "Follow-up sample"},
		{"groups", "The advice in groups of episodes", "Groups of episodes"},
		{"trend", "Trend", "Trend"},
		{"units", "Advisors and sites", "Advisors and sites"},
	}},
	{"Flags and checks", []section{
		{"flags", "Red flags", "Red flags"},
		{"needless", "Needless escalations", "Needless escalations"},
		{"checks", "Home checks: done, and why not", "Home checks"},
	}},
	{"The data", []section{
		{"flow", "The flow of episodes", "Flow of episodes"},
		{"data", "What the figures rest on", "What the figures rest on"},
		{"since", "Since the last review", "Since the last review"},
		{"methods", "Methods and cautions", "Methods and cautions"},
		{"quality", "Completeness, delays and coding of the records", "Data quality"},
		{"beside", "Side by side", "Side by side"},
	}},
}

// number is the place of a part on the page, from 1.
func (s section) number() string {
	i := 0
	for _, c := range chapters {
		for _, x := range c.sections {
			i++
			if x.id == s.id {
				return strconv.Itoa(i)
			}
		}
	}
	return ""
}

// partLink is a reference to another part by its number, for paper too.
func partLink(id string) (template.HTML, error) {
	if id == "conclusion" {
		return `<a href="#conclusion">first&nbsp;sheet</a>`, nil
	}
	s := section{id: id}
	if s.number() == "" {
		return "", fmt.Errorf("no part %q", id)
	}
	return template.HTML(fmt.Sprintf(`<a href="#%s">part&nbsp;<span data-lit>%s</span></a>`, id, s.number())), nil
}
