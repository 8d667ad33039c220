package demo

// fate is what happened, whether or not anyone wrote it down.
type fate struct {
	missed   bool // needed care the same day, told otherwise
	worsened bool
	seen     bool
	seenAt   int64
	route    int8
	outside  bool // seen by a practice outside the scheme: never recorded
	stay     int8 // why it would stay away
	result   int8 // of the visit
	why      int8
}

const hour = 3600

// follow draws everything after the advice. Each matter has its own stream:
// attendance never looks at the need in WorldIgnorable, and in
// WorldSelfPresenting only missed animals that get worse change their course.
func (m *model) follow(e *episode, sub uint64, nextNumber int64) {
	c := e.first()
	e.fate.missed = e.need >= 2 && c.level < SameDay
	m.attend(e, sub)
	m.worsen(e, sub, nextNumber)
	m.plannedCallBack(e, sub, nextNumber+1)
	m.d.roll(m.seed, streamOutcome, sub)
	if e.fate.seen {
		m.visitOutcomes(e)
	} else if c.level >= SameDay {
		m.noShow(e)
	}
	m.followUp(e, sub)
	if m.audit {
		m.auditCall(e, sub)
	}
}

// attend decides the visit from the advice and from things unrelated to need:
// the way to the practice, the bill, the site.
func (m *model) attend(e *episode, sub uint64) {
	d := m.d
	d.roll(m.seed, streamAttend, sub)
	far := e.home.distance / 30
	site := [numSites]float64{0, -0.02, -0.05}[e.home.site]
	var p float64
	var least, most int
	switch e.first().level {
	case Emergency:
		p, least, most = 0.97-0.07*far-0.05*e.home.costs+site/2, 20*60, 3*hour
	case SameDay:
		p, least, most = 0.93-0.10*far-0.13*e.home.costs+site, hour, 11*hour
	case Soon:
		p, least, most = 0.40-0.10*far-0.10*e.home.costs+site, 8*hour, 68*hour
	default:
		p, least, most = 0.055-0.02*far+site/4, 6*hour, 68*hour
	}
	goes, wait, outside := d.chance(p), int64(d.between(least, most)), d.chance(0.02)
	e.fate.outside = e.home.practice < 0 || outside
	e.fate.route = advisedVisit
	if e.first().level == HomeCare {
		e.fate.route = ownDecision
	}
	e.fate.seen, e.fate.seenAt = goes, e.start+wait
	w := []float64{0.1 + e.home.costs, 0.1 + far, 0.45, 0.35, 0.15}
	e.fate.stay = int8(d.pick(w)) + 1
}

// worsen lets animals that were told to wait get worse, ring again and, in
// WorldSelfPresenting, come in by themselves.
func (m *model) worsen(e *episode, sub uint64, number int64) {
	d := m.d
	d.roll(m.seed, streamWorsen, sub)
	worse, rings := d.chance(0.8), d.chance(0.5)
	worried, presents := d.chance(0.02), d.chance(0.9)
	delay := int64(d.between(4*hour, 44*hour))
	travel := int64(d.between(hour, 9*hour))
	e.fate.worsened = e.fate.missed && worse
	at := e.start + delay
	if e.fate.seen && e.fate.seenAt <= at {
		return
	}
	if e.fate.worsened && rings || !e.fate.missed && worried && e.first().level < SameDay {
		m.ringAgain(e, number, at, reContact)
	}
	if m.world != WorldSelfPresenting || !e.fate.worsened || !presents {
		return
	}
	e.fate.seen, e.fate.seenAt, e.fate.route = true, at+travel, ownDecision
	if rings {
		e.fate.route = advisedVisit
	}
}

// plannedCallBack is a contact that the advisor promised, not an outcome.
func (m *model) plannedCallBack(e *episode, sub uint64, number int64) {
	d := m.d
	d.roll(m.seed, streamCallBack, sub)
	promised := d.chance(0.09)
	at := e.start + int64(d.between(4*hour, 20*hour))
	if promised && e.first().level < SameDay && e.nc == 1 {
		m.ringAgain(e, number, at, callBack)
	}
}

// ringAgain adds a later contact of the episode with a short form.
func (m *model) ringAgain(e *episode, number, at int64, kind int8) {
	if e.nc == len(e.contacts) || at >= m.cal.to.Unix() {
		return
	}
	c := &e.contacts[e.nc]
	e.nc++
	*c = contact{kind: kind, number: number, start: at, advisor: e.home.site*8 + m.d.below(7)}
	m.formBuf = append(m.formBuf[:0], Collapse, BreathingEffort, Responsiveness, GumColour)
	m.ask(e, c, m.formBuf)
	applyRules(e, c)
	c.level = max(c.ruleLevel, e.first().level)
	if e.need >= 2 && m.d.chance(0.85) {
		c.level = max(c.level, Level(e.need+1))
	}
	if c.level != c.ruleLevel {
		c.override = overrideWorried
	}
	m.close(c)
}
