package review

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/rules"
	"hindcheck/queries"
)

// NearFlag is a flag above the advice that came close to firing: one answer was
// missing, or one of its conditions was not met, by how much.
type NearFlag struct {
	Flag    string `json:"flag"`
	Title   string `json:"title"`
	Demands string `json:"demands"`
	// Missing says in words what kept it from firing.
	Missing string `json:"missing"`
}

// look is a later set of readings over those of the first contact.
type look struct {
	at time.Time
	// same is whether it is still a reading of the same sign.
	same   bool
	record rules.Record
}

// evidence is what the rules make of one episode.
type evidence struct {
	s      *stories
	animal queries.CaseAnimalsRow
	needed int
	record rules.Record
	usual  []bool
	looks  []look
}

func (s *stories) evidence(episode string, needed int) *evidence {
	a := s.animals[episode]
	e := &evidence{s: s, animal: a, needed: needed, usual: s.usual[[2]string{a.Species, a.Complaint}]}
	e.record = rules.Record{Species: a.Species, Sex: a.Sex, Neutered: a.Neutered, BreedGroup: a.BreedGroup, Complaint: a.Complaint, AgeMonths: int32(a.AgeMonths)}
	e.record.Values = make([]int32, len(a.Values))
	for i, v := range a.Values {
		e.record.Values[i] = int32(v)
	}
	e.addContacts(episode)
	e.addExams(episode)
	return e
}

// addContacts adds the checks of each later contact.
func (e *evidence) addContacts(episode string) {
	list := e.s.contacts[episode]
	for _, x := range list {
		if x.Contact == list[0].Contact {
			continue
		}
		l := e.over(x.StartedAt)
		for _, k := range e.s.checks[episode] {
			if k.Call == x.Call && k.Observer != "vet" {
				l.set(e.s, k)
			}
		}
		e.looks = append(e.looks, l)
	}
}

// addExams adds each time at which a vet read signs.
func (e *evidence) addExams(episode string) {
	var last *look
	for _, k := range e.s.checks[episode] {
		if k.Observer != "vet" || k.AskedAt == nil {
			continue
		}
		if last == nil || !last.at.Equal(*k.AskedAt) {
			l := e.over(*k.AskedAt)
			hours := k.AskedAt.Sub(e.animal.StartedAt).Hours()
			l.same = hours <= comparableHours && k.Treated != nil && !*k.Treated
			e.looks = append(e.looks, l)
			last = &e.looks[len(e.looks)-1]
		}
		last.set(e.s, k)
	}
}

// over begins a look with the readings of the first contact.
func (e *evidence) over(at time.Time) look {
	l := look{at: at, record: e.record}
	l.record.Values = slices.Clone(e.record.Values)
	return l
}

// set puts a done check over the earlier reading.
func (l *look) set(s *stories, k queries.CaseChecksRow) {
	i := s.dict.Index(k.Finding)
	if i < 0 || i >= len(l.record.Values) || k.State != "done" {
		return
	}
	number := 0.0
	if k.ValueNumber != nil {
		number = *k.ValueNumber
	}
	l.record.Values[i] = s.dict.Findings[i].Encode(k.State, k.Reason, number, k.ValueCode)
}

// demanding lists the places of the flags that demand at least a level.
func (e *evidence) demanding(level int) []int {
	if e.s.program == nil {
		return nil
	}
	var out []int
	for i, f := range e.s.program.Set.Flags {
		if int(f.Demands) >= level {
			out = append(out, i)
		}
	}
	return out
}

// covers reports whether a flag had its chance: it is meant for the animal, and
// each check that it reads was put or is one that the line usually puts.
func (e *evidence) covers(x rules.Explained) bool {
	if x.Limits == codes.No {
		return false
	}
	for _, c := range x.Conditions {
		i := e.s.dict.Index(c.Finding)
		if c.Value == codes.NotAsked && !(i < len(e.usual) && e.usual[i]) {
			return false
		}
	}
	return true
}

// open are the conditions that keep an unknown flag from being decided.
func open(x rules.Explained) []rules.Held {
	var out []rules.Held
	if x.Result == codes.Unknown {
		for _, c := range x.Conditions {
			if c.Result == codes.Unknown {
				out = append(out, c)
			}
		}
	}
	return out
}

// demandedLevel is the higher of what the rules in force and the rules of that
// day demanded.
func (e *evidence) demandedLevel() int {
	level := int(e.animal.RecordedRuleLevel)
	if e.s.program != nil {
		var r rules.Result
		e.s.program.Eval(&e.record, &r)
		level = max(level, int(r.Level))
	}
	return level
}

func (e *evidence) title(i int) string {
	f := e.s.program.Set.Flags[i]
	if f.Title != "" {
		return f.Title
	}
	return f.ID
}

func (e *evidence) findingTitle(id string) string {
	if f, ok := e.s.dict.Finding(id); ok {
		return f.Title
	}
	return id
}

// nearly lists the flags above the advice that came close, the most urgent
// first.
func (e *evidence) nearly() []NearFlag {
	out := []NearFlag{}
	above := e.demanding(int(e.animal.Level) + 1)
	slices.SortStableFunc(above, func(i, j int) int {
		return int(e.s.program.Set.Flags[j].Demands) - int(e.s.program.Set.Flags[i].Demands)
	})
	for _, i := range above {
		x := e.s.program.Explain(i, &e.record)
		if missing := e.missing(x); missing != "" && e.covers(x) {
			f := e.s.program.Set.Flags[i]
			out = append(out, NearFlag{Flag: f.ID, Title: e.title(i), Demands: levelLabels[f.Demands], Missing: missing})
		}
	}
	return out
}

// missing says in words what one thing kept a flag from firing; empty if it
// fired or if more than one thing did. A flag of one coded condition whose
// answer was clear did not come close.
func (e *evidence) missing(x rules.Explained) string {
	met, notMet := 0, []rules.Held{}
	for _, c := range x.Conditions {
		if c.Result == codes.Yes {
			met++
		} else {
			notMet = append(notMet, c)
		}
	}
	if x.Limits == codes.Unknown && len(notMet) == 0 {
		return "sex, age or breed of the animal not recorded"
	}
	if x.Limits != codes.Yes || len(notMet) != 1 {
		return ""
	}
	c := notMet[0]
	name := e.findingTitle(c.Finding)
	switch {
	case c.Result == codes.Unknown:
		return fmt.Sprintf("%s: %s", name, e.state(c))
	case e.s.program.JustShort(x):
		f, _ := e.s.dict.Finding(c.Finding)
		return fmt.Sprintf("%s: %s %s short", name, strconv.FormatFloat(c.Short, 'f', -1, 64), f.Unit)
	case met > 0:
		return fmt.Sprintf("%s: answer did not meet it", name)
	}
	return ""
}

// state says why an answer is unknown.
func (e *evidence) state(c rules.Held) string {
	if name, ok := codes.NotAssessedNames[c.Value]; ok {
		return strings.ReplaceAll(name, "_", " ")
	}
	return "cannot be read"
}
