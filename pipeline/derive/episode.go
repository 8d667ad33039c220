package derive

import (
	"slices"
	"time"

	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/lanes"
	"hindcheck/pipeline/rules"
)

// episode is what the records of one episode say so far, the first of which
// opened it. Columns that only the opening record fills are kept as numbers.
type episode struct {
	id, contact, animal, owner, advisor lanes.Key
	hasContact, hasAnimal, hasOwner     bool
	hasAdvisor, hasAge                  bool
	startedAt                           int64
	age                                 int32

	site, species, breed, sex, neutered, complaint, zone int32

	// What was advised in the first contact, which may have several records.
	level, ruleLevel     int8
	levelAt, ruleLevelAt int64
	ruleset, hurt        int32
	rulesetAt            int64
	safetyNet            int8
	seconds              int64
	hasSeconds           bool
	handled              int8
	readings             []int64 // packed, with the finding's place above

	// Other contacts than the first.
	later  int8
	again  bool
	others []lanes.Key
}

// findingShift is where the place of a finding stands in a packed reading that
// waits for its episode to be complete: above the number of the check.
const findingShift = 50

// open fills e with the record that opens it.
func (e *episode) open(r *record) {
	c, i := r.from, r.row
	*e = episode{id: r.episode, contact: r.contact, hasContact: r.hasContact, startedAt: r.startedAt,
		site: c.site.At(i), species: c.species.At(i), breed: c.breed.At(i), sex: c.sex.At(i), neutered: c.neutered.At(i),
		complaint: c.complaint.At(i), zone: r.zone, ruleset: lanes.None, hurt: lanes.None, safetyNet: -1,
		readings: e.readings[:0], others: e.others[:0]}
	e.animal, e.hasAnimal = c.animal.Values[i], c.animal.Valid[i]
	e.owner, e.hasOwner = c.owner.Values[i], c.owner.Valid[i]
	e.advisor, e.hasAdvisor = c.advisor.Values[i], c.advisor.Valid[i]
	e.age, e.hasAge = c.ageMonths.Values[i], c.ageMonths.Valid[i]
}

// day is the time within which a re-contact is counted.
const day = 24 * hour

// add takes a record of the episode in, in the order of time.
func (e *episode) add(r *record, readings []reading, words *lanes.Vocabulary) {
	switch {
	case !r.hasContact || !e.hasContact:
	case r.contact == e.contact:
		e.advise(r, words)
		e.check(readings)
	default:
		if !slices.Contains(e.others, r.contact) {
			e.others = append(e.others, r.contact)
		}
		e.later = max(e.later, r.level)
		e.again = e.again || r.again && r.startedAt-e.startedAt <= day
	}
}

// advise takes the advice of a record of the first contact in: what was said last
// stands; of records that started together the first in order.
func (e *episode) advise(r *record, words *lanes.Vocabulary) {
	if r.level > 0 && (e.level == 0 || r.startedAt > e.levelAt) {
		e.level, e.levelAt = r.level, r.startedAt
	}
	if r.ruleLevel > 0 && (e.ruleLevel == 0 || r.startedAt > e.ruleLevelAt) {
		e.ruleLevel, e.ruleLevelAt = r.ruleLevel, r.startedAt
	}
	if r.ruleset != lanes.None && (e.ruleset == lanes.None || r.startedAt > e.rulesetAt) {
		e.ruleset, e.rulesetAt = r.ruleset, r.startedAt
	}
	e.hurt = worseHurt(e.hurt, r.hurt, words)
	e.safetyNet = max(e.safetyNet, r.safetyNet)
	if r.hasSeconds {
		e.seconds, e.hasSeconds = e.seconds+r.seconds, true
	}
}

// worseHurt returns the worse of two words on whether a person was hurt.
func worseHurt(a, b int32, words *lanes.Vocabulary) int32 {
	if a == lanes.None || a == b {
		return b
	}
	if b == lanes.None {
		return a
	}
	x, y := words.All[a], words.All[b]
	for _, worst := range []string{"bitten", "scratched"} {
		if x == worst {
			return a
		}
		if y == worst {
			return b
		}
	}
	if y > x {
		return b
	}
	return a
}

// check takes readings of the first contact in.
func (e *episode) check(readings []reading) {
	for _, r := range readings {
		e.handled = max(e.handled, r.handled)
		if r.finding != lanes.None && r.packed > 0 {
			e.readings = append(e.readings, int64(r.finding)<<findingShift|r.packed)
		}
	}
}

// judge works out what the rules say of the episode's readings, which are in
// best as packed numbers by finding.
func (m *month) judge(e *episode) {
	for i, v := range m.best {
		m.record.Values[i] = codes.NotAsked
		if v != 0 {
			m.record.Values[i] = int32(v&(1<<32-1)) - lift
		}
	}
	if m.def.Program == nil {
		return
	}
	word := m.words.Word
	m.record.Species, m.record.Sex, m.record.Neutered = word(e.species), word(e.sex), word(e.neutered)
	m.record.BreedGroup, m.record.Complaint, m.record.AgeMonths = word(e.breed), word(e.complaint), -1
	if e.hasAge {
		m.record.AgeMonths = e.age
	}
	m.def.Program.Eval(&m.record, &m.result)
}

// emit writes the episode as a row of cases.
func (m *month) emit(e *episode) error {
	if !e.hasContact {
		return nil // no record belongs to its first contact
	}
	clear(m.best)
	for _, r := range e.readings {
		f := r >> findingShift
		m.best[f] = max(m.best[f], r&(1<<findingShift-1))
	}
	m.judge(e)
	zone := m.words.Word(e.zone)
	if e.zone == lanes.None {
		zone = "UTC"
	}
	local, err := m.clock.local(zone, e.startedAt)
	if err != nil {
		return err
	}
	at := time.UnixMicro(local).UTC()
	s := m.sheet
	s.n++
	s.episode.key(e.id, true)
	s.animal.key(e.animal, e.hasAnimal)
	s.owner.key(e.owner, e.hasOwner)
	s.advisor.key(e.advisor, e.hasAdvisor)
	s.site.word(e.site)
	s.species.word(e.species)
	s.breed.word(e.breed)
	s.sex.word(e.sex)
	s.neutered.word(e.neutered)
	s.age.whole(e.age, e.hasAge)
	s.complaint.word(e.complaint)
	s.startedAt.long(e.startedAt)
	s.month.number(int32(at.Year()*100 + int(at.Month())))
	s.localHour.number(int32(at.Hour()))
	s.weekday.number(int32(at.Weekday()+6)%7 + 1)
	s.ruleset.word(e.ruleset)
	s.recordedLevel.number(int32(e.ruleLevel))
	s.level.number(int32(e.level))
	s.later.number(int32(e.later))
	s.contacts.number(int32(1 + len(e.others)))
	s.again.yes(e.again)
	s.ruled(&m.result)
	s.handling.word(m.handling[e.handled])
	s.hurt.word(e.hurt)
	s.safetyNet.whole(int32(max(e.safetyNet, 0)), e.safetyNet >= 0)
	s.seconds.whole(int32(e.seconds), e.hasSeconds)
	for i, c := range s.findings {
		c.number(m.record.Values[i])
	}
	m.outcome(e)
	if s.n == rowGroup {
		return m.flush()
	}
	return nil
}

// ruled writes the levels and bits of flags; without rules there are none.
func (s *sheet) ruled(r *rules.Result) {
	s.ruleLow.number(int32(r.Low))
	s.ruleLevel.number(int32(r.Level))
	s.ruleHigh.number(int32(r.High))
	for w := range s.fired {
		s.fired[w].long(int64(r.Fired[w]))
		s.unknown[w].long(int64(r.Unknown[w]))
	}
}

// outcome writes the columns of what became known afterwards.
func (m *month) outcome(e *episode) {
	found, auditP, hasP := m.outcomes.of(e.id)
	r := nothingKnown
	if len(found) > 0 {
		r = m.def.CaseDef.Eval(time.UnixMicro(e.startedAt), found)
	}
	word := func(w string) int32 {
		if w == "" {
			return lanes.None
		}
		return m.words.Number(w)
	}
	m.sheet.practice.word(word(r.Practice))
	next := m.sheet.outcome
	put := func() *column { c := next[0]; next = next[1:]; return c }
	put().number(int32(r.Route))
	put().number(int32(r.Source))
	put().whole(max(r.Minutes, 0), r.Minutes >= 0)
	put().number(int32(r.VetLevel))
	put().word(word(r.Disposition))
	put().word(word(r.EuthanasiaReason))
	put().word(word(r.DiagnosisGroup))
	for _, t := range []codes.Tri{r.Independent, r.LevelEmergency, r.LevelSameDay, r.Admitted, r.Surgery, r.TimeCritical, r.Death, r.Euthanised, r.NeedEmergency, r.NeedSameDay, r.Attended} {
		put().number(int32(t))
	}
	put().word(word(r.NoAttendReason))
	put().yes(r.AuditSelected)
	put().float(auditP, hasP)
	put().yes(r.AuditResponded)
	put().number(int32(r.Outcomes))
	put().number(int32(r.Conflicts))
	put().yes(r.Died)
}

// nothingKnown is the result of an episode without outcomes.
var nothingKnown = casedef.Result{Minutes: -1, Independent: codes.Unknown, LevelEmergency: codes.Unknown, LevelSameDay: codes.Unknown,
	Admitted: codes.Unknown, Surgery: codes.Unknown, TimeCritical: codes.Unknown, Death: codes.Unknown, Euthanised: codes.Unknown,
	NeedEmergency: codes.Unknown, NeedSameDay: codes.Unknown, Attended: codes.Unknown}
