package review

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

// Step is one step of a case's timeline.
type Step struct {
	// Hours from the first contact.
	Hours float64 `json:"hours"`
	// What happened, in words: first contact, the owner rang again, seen by a vet.
	What string `json:"what"`
	// Advised and Rules are level labels of a contact, empty if not recorded.
	Advised string `json:"advised,omitempty"`
	Rules   string `json:"rules,omitempty"`
	// Notes are what else was recorded, in words.
	Notes []string `json:"notes"`
	// Checks of a contact in the order asked, or a vet's own readings.
	Checks []CheckRead `json:"checks"`
}

// CheckRead is one check with its reading or why there is none.
type CheckRead struct {
	Finding string `json:"finding"`
	Label   string `json:"label"`
	// State is done, not_possible, declined, not_asked or stopped_early;
	// Reading is in words and empty unless it was done.
	State   string `json:"state"`
	Reading string `json:"reading,omitempty"`
	// Reason says why it was not done, coded.
	Reason string `json:"reason,omitempty"`
}

// Judgement is what one reviewer, or the advisor herself, said of a case.
type Judgement struct {
	// By is panel or advisor.
	By          string `json:"by"`
	Level       string `json:"level,omitempty"`
	Foreseeable string `json:"foreseeable,omitempty"`
	Avoidable   string `json:"avoidable,omitempty"`
	Reason      string `json:"reason,omitempty"`
}

// stories hold all that is on record of some episodes, and the rules to judge
// it by.
type stories struct {
	program  *rules.Program
	dict     *findings.Dictionary
	animals  map[string]queries.CaseAnimalsRow
	contacts map[string][]queries.CaseContactsRow
	checks   map[string][]queries.CaseChecksRow
	outcomes map[string][]queries.CaseOutcomesRow
	usual    map[[2]string][]bool
}

// stories fetches what is on record of some episodes; within names the months
// of their first contacts where they are known.
func (b *builder) stories(episodes []string, within ...queries.Scope) (*stories, error) {
	meta := b.db.Meta()
	s := &stories{
		dict: meta.Dictionary, animals: map[string]queries.CaseAnimalsRow{}, contacts: map[string][]queries.CaseContactsRow{},
		checks: map[string][]queries.CaseChecksRow{}, outcomes: map[string][]queries.CaseOutcomesRow{}, usual: map[[2]string][]bool{},
	}
	if s.dict == nil {
		s.dict = &findings.Dictionary{}
	}
	if meta.Rules != nil {
		var err error
		if s.program, err = rules.Compile(meta.Rules, s.dict); err != nil {
			return nil, fmt.Errorf("compile rules: %w", err)
		}
	}
	if len(episodes) == 0 {
		return s, nil
	}
	if err := s.fetch(b, episodes, within); err != nil {
		return nil, err
	}
	return s, b.usual(s)
}

// fetch reads the four tables, each ordered by episode.
func (s *stories) fetch(b *builder, episodes []string, within []queries.Scope) error {
	animals, err := b.db.CaseAnimals(b.ctx, episodes, within...)
	if err != nil {
		return err
	}
	for _, x := range animals {
		s.animals[x.Episode] = x
	}
	contacts, err := b.db.CaseContacts(b.ctx, episodes, within...)
	if err != nil {
		return err
	}
	for _, x := range contacts {
		s.contacts[x.Episode] = append(s.contacts[x.Episode], x)
	}
	checks, err := b.db.CaseChecks(b.ctx, episodes, within...)
	if err != nil {
		return err
	}
	for _, x := range checks {
		s.checks[x.Episode] = append(s.checks[x.Episode], x)
	}
	outcomes, err := b.db.CaseOutcomes(b.ctx, episodes, within...)
	for _, x := range outcomes {
		s.outcomes[x.Episode] = append(s.outcomes[x.Episode], x)
	}
	return err
}

// usualShare is the least share of the episodes of a species and reason for the
// call on which a check is put before it counts as one that the line asks.
const usualShare = 0.5

func (b *builder) usual(s *stories) error {
	rows, err := once(b, &b.usually, func() ([]queries.UsualChecksRow, error) { return b.db.UsualChecks(b.ctx, b.scope) })
	if err != nil {
		return err
	}
	for _, x := range rows {
		usual := make([]bool, len(x.Put))
		for i, n := range x.Put {
			usual[i] = float64(n) >= usualShare*float64(x.Episodes)
		}
		s.usual[[2]string{x.Species, x.Complaint}] = usual
	}
	return nil
}

// tell adds to a case what is on record of it and why it was missed at the
// needed level.
func (s *stories) tell(c *Case, needed int) {
	s.recount(c)
	e := s.evidence(c.Episode, needed)
	c.Nearly = e.nearly()
	c.Reason, c.Because = e.reason()
	c.Label = reasonLabel(c.Reason)
}

// recount adds the timeline, the animal and the judgements.
func (s *stories) recount(c *Case) {
	a, start := s.animals[c.Episode], c.StartedAt
	if !a.StartedAt.IsZero() {
		start = a.StartedAt
	}
	c.Animal = describe(a)
	c.Timeline, c.Judgements = []Step{}, []Judgement{}
	c.Timeline = append(c.Timeline, s.contactEvents(c.Episode, start)...)
	for _, x := range s.outcomes[c.Episode] {
		if x.Source == "panel" || x.Source == "advisor" {
			c.Judgements = append(c.Judgements, Judgement{By: x.Source, Level: label(x.VetLevel), Foreseeable: x.Foreseeable, Avoidable: x.Avoidable, Reason: x.ReviewReason})
			c.Contested = c.Contested || x.Source == "advisor"
			continue
		}
		e := s.outcomeEvent(c.Episode, x, start)
		c.Timeline = append(c.Timeline, e)
		if x.Source == "vet" && x.Disposition != "did_not_attend" && (c.HoursLost == nil || e.Hours < *c.HoursLost) {
			hours := max(0, e.Hours)
			c.HoursLost = &hours
		}
	}
	slices.SortStableFunc(c.Timeline, func(a, b Step) int { return cmpHours(a.Hours, b.Hours) })
}

func cmpHours(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// contactEvents are the contacts of an episode; the records of a transfer are
// one contact.
func (s *stories) contactEvents(episode string, start time.Time) []Step {
	var out []Step
	last := ""
	for i, x := range s.contacts[episode] {
		if x.Contact != last || i == 0 {
			out = append(out, Step{Hours: x.StartedAt.Sub(start).Hours(), What: contactWords(i == 0, x.ContactKind), Notes: []string{}, Checks: []CheckRead{}})
			last = x.Contact
		}
		e := &out[len(out)-1]
		if x.Level != "" {
			e.Advised = label(x.Level)
		}
		if x.RuleLevel != "" {
			e.Rules = label(x.RuleLevel)
		}
		e.Notes = append(e.Notes, contactNotes(x)...)
		for _, k := range s.checks[episode] {
			if k.Call == x.Call && k.Observer != "vet" {
				e.Checks = append(e.Checks, s.read(k))
			}
		}
	}
	return out
}

func contactWords(first bool, kind string) string {
	switch {
	case first:
		return "first contact"
	case kind == "call_back":
		return "the line rang back"
	case kind == "re_contact":
		return "the owner rang again"
	}
	return "another contact"
}

func contactNotes(x queries.CaseContactsRow) []string {
	var out []string
	if x.OverrideReason != "" {
		out = append(out, "departed from the rules: "+strings.ReplaceAll(x.OverrideReason, "_", " "))
	}
	switch x.SafetyNet {
	case "yes":
		out = append(out, "told when to ring again")
	case "no":
		out = append(out, "not told when to ring again")
	}
	if x.PersonHurt == "scratched" || x.PersonHurt == "bitten" {
		out = append(out, "a person was "+x.PersonHurt)
	}
	if x.FormalComplaint != "" && x.FormalComplaint != "none" {
		out = append(out, "formal complaint: "+x.FormalComplaint)
	}
	return out
}

// outcomeEvent is a visit or a follow-up, with the vet's own readings.
func (s *stories) outcomeEvent(episode string, x queries.CaseOutcomesRow, start time.Time) Step {
	e := Step{Hours: x.SeenAt.Sub(start).Hours(), Notes: []string{}, Checks: []CheckRead{}}
	switch {
	case x.Disposition == "did_not_attend":
		e.What = "did not attend"
	case x.Source == "vet":
		e.What = "seen by a vet"
	case x.Responded == "no" || x.Disposition == "lost":
		e.What = "follow-up call, nobody answered"
	case x.Route == "audit":
		e.What = "as the owner told when drawn for follow-up"
	default:
		e.What = "as the owner told in a follow-up call"
	}
	if x.VetLevel != "" {
		e.Notes = append(e.Notes, "needed: "+label(x.VetLevel))
	}
	for _, note := range []struct{ what, word string }{
		{"result", x.Disposition}, {"diagnosis", x.DiagnosisGroup}, {"put to sleep for", x.EuthanasiaReason}, {"stayed away for", x.NoAttendReason},
	} {
		if note.word != "" && note.word != "did_not_attend" && note.word != "lost" {
			e.Notes = append(e.Notes, note.what+": "+strings.ReplaceAll(note.word, "_", " "))
		}
	}
	if x.Source != "vet" {
		return e
	}
	for _, k := range s.checks[episode] {
		if k.Observer == "vet" && k.AskedAt != nil && k.AskedAt.Equal(x.SeenAt) {
			e.Checks = append(e.Checks, s.read(k))
		}
	}
	return e
}

// read puts one check into words.
func (s *stories) read(k queries.CaseChecksRow) CheckRead {
	r := CheckRead{Finding: k.Finding, Label: k.Finding, State: k.State, Reason: k.Reason}
	if k.State == "not_asked" && k.Reason == "stopped_early" {
		r.State, r.Reason = "stopped_early", ""
	}
	f, ok := s.dict.Finding(k.Finding)
	if ok {
		r.Label = f.Title
	}
	if k.State != "done" {
		return r
	}
	if k.ValueNumber != nil {
		r.Reading = strconv.FormatFloat(*k.ValueNumber, 'f', -1, 64)
		if ok {
			r.Reading += " " + f.Unit
		}
		return r
	}
	r.Reading = strings.ReplaceAll(k.ValueCode, "_", " ")
	if ok {
		if p := f.Position(k.ValueCode); p > 0 {
			r.Reading = f.Codes[p-1].Title
		}
	}
	return r
}

// label is a stored level's word for people.
func label(stored string) string {
	l, err := codes.ParseLevel(stored)
	if err != nil {
		return ""
	}
	return levelLabels[l]
}

// describe says what is known of an animal.
func describe(a queries.CaseAnimalsRow) string {
	var parts []string
	switch {
	case a.AgeMonths >= 24:
		parts = append(parts, plural(int64(a.AgeMonths)/12, "year", "years"))
	case a.AgeMonths >= 0:
		parts = append(parts, plural(int64(a.AgeMonths), "month", "months"))
	}
	switch {
	case a.Sex == "" || a.Sex == "unknown":
	case a.Neutered == "yes":
		parts = append(parts, a.Sex+", neutered")
	default:
		parts = append(parts, a.Sex)
	}
	if a.BreedGroup != "" {
		parts = append(parts, strings.ReplaceAll(a.BreedGroup, "_", " "))
	}
	return strings.Join(parts, ", ")
}
