package demo

// Feeds that deliver outcomes: the three practices, named after their site,
// and the line's own follow-up.
const (
	feedLine = numSites
	numFeeds = numSites + 1
)

// FeedIDs are the codes of the four feeds in file names and delivery log.
var FeedIDs = [numFeeds]string{"tarn", "bril", "cress", "line"}

// How an outcome came about.
const (
	routeNone int8 = iota
	advisedVisit
	ownDecision
	followUpCall
	auditCall
)

// What became of the animal.
const (
	resultNone int8 = iota
	sentHome
	treatedSentHome
	admitted
	operated
	referred
	died
	euthanised
	deadOnArrival
	didNotAttend
	lost
)

// Reasons for euthanasia.
const (
	whyNone int8 = iota
	whyPrognosis
	whyWelfare
	whyCost
	whyMixed
	whyPlanned
	whyBehaviour
	whyUnknown
)

// outcome is one row of an outcomes export.
type outcome struct {
	feed      int
	number    int64
	call      int64 // 0: the practice knew the animal only
	route     int8
	result    int8
	level     Level // LevelNone: not recorded
	seen      int64 // Unix seconds
	noted     int64
	critical  bool
	why       int8
	stay      int8 // why the animal did not come, by position in staysWords
	knew      int8 // vet knew the telephone finding: 0 not recorded, 1 yes, 2 no
	match     int8 // per cent
	begun     int8 // treatment begun before the exam: 0 not recorded, 1 yes, 2 no
	p         float64
	reached   int8 // 0 does not apply, 1 reached, 2 not reached
	blank     bool // neither level nor result recorded
	exam      bool
	vetChecks [len(vetFindings)]float64 // code position or units; below 0 not made
}

// vetFindings are the checks that a vet repeats and writes down.
var vetFindings = [...]Finding{GumColour, CapillaryRefill, BreathingRate, Temperature}

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

// vetResult draws what the practice did; deaths, operations and time-critical
// treatment within the window belong to true emergencies.
func (m *model) vetResult(e *episode, o *outcome) {
	d := m.d
	switch e.need {
	case 3:
		o.result = int8(d.pick([]float64{0, 0, 0.11, 0.38, 0.19, 0.08, 0.06, 0.15, 0.03}))
		o.critical = d.chance(0.8)
	case 2:
		o.result = int8(d.pick([]float64{0, 0.05, 0.73, 0.15, 0, 0.05, 0, 0.02}))
	case 1:
		o.result = int8(d.pick([]float64{0, 0.28, 0.705, 0, 0, 0.01, 0, 0.005}))
	default:
		o.result = int8(d.pick([]float64{0, 0.72, 0.277, 0, 0, 0, 0, 0.003}))
	}
	if o.result == euthanised {
		o.why = m.whyEuthanised(e.need)
	}
	o.level = m.vetLevel(e.need)
}

func (m *model) whyEuthanised(need int) int8 {
	switch need {
	case 3:
		return int8(m.d.pick([]float64{0, 0.45, 0.22, 0.15, 0.12, 0, 0, 0.06}))
	case 2:
		return int8(m.d.pick([]float64{0, 0, 0, 0.6, 0, 0.3, 0.1}))
	}
	return int8(m.d.pick([]float64{0, 0, 0, 0.1, 0, 0.7, 0.2}))
}

// vetDisagrees is the share of vets' levels that differ by one step from the
// need: the residual between case definition and truth.
const vetDisagrees = 0.004

func (m *model) vetLevel(need int) Level {
	d := m.d
	level := Level(need + 1)
	if need < 2 && d.chance(0.12) {
		return Level(2 - need) // home care and soon are one to the case definition
	}
	if d.chance(vetDisagrees) {
		if level == Emergency || level > HomeCare && d.chance(0.5) {
			return level - 1
		}
		return level + 1
	}
	return level
}

// noteDelay is the time until a finding is written down: bad news first.
func (m *model) noteDelay(result int8) int64 {
	d := m.d
	var days float64
	switch result {
	case died, euthanised, deadOnArrival, operated:
		days = 0.2 + 2.5*d.u()
	case admitted, referred:
		days = 0.5 + 9*d.u()
	default:
		days = 1 + min(43, 11*d.rnd.ExpFloat64())
		if d.chance(0.02) {
			days += 20
		}
	}
	return int64(days * 86400)
}

// visitOutcomes writes the visit and what followed at the practice.
func (m *model) visitOutcomes(e *episode) {
	d := m.d
	var o outcome
	o.route, o.seen = e.fate.route, e.fate.seenAt
	m.vetResult(e, &o)
	e.fate.result, e.fate.why = o.result, o.why
	o.knew = int8(d.pick([]float64{0.15, 0.55, 0.30}))
	o.match = 100
	if d.chance(0.15) {
		o.match = int8(d.between(88, 99))
	}
	o.blank = d.chance(0.02)
	o.noted = o.seen + m.noteDelay(o.result)
	if d.chance(0.55) && !o.blank {
		m.vetExam(e, &o)
	}
	if !d.chance(0.05) {
		o.call = e.caller().number
	}
	if e.fate.outside {
		return
	}
	o.feed = e.home.practice
	m.addOutcome(e, o)
	m.laterOutcome(e, o)
}

// caller is the contact that sent the animal: the last one before the visit.
func (e *episode) caller() *contact {
	c := e.first()
	for i := 1; i < e.nc; i++ {
		if e.fate.seen && e.contacts[i].start < e.fate.seenAt {
			c = &e.contacts[i]
		}
	}
	return c
}

// laterOutcome adds a second row for some: an admitted animal that dies or
// goes home, a referral that reports back, the same visit billed later.
func (m *model) laterOutcome(e *episode, o outcome) {
	d := m.d
	second := o
	second.exam, second.blank = false, false
	second.seen += int64(d.between(14*hour, 30*hour))
	switch {
	case o.result == admitted && e.need == 3 && d.chance(0.12):
		second.result, second.why = died, whyNone
	case o.result == admitted && d.chance(0.5):
		second.result = treatedSentHome
	case o.result == referred && d.chance(0.95):
		second.result = treatedSentHome
		if e.need == 3 {
			second.result = operated
		}
	case d.chance(0.01):
		second = o // entered again from the bill
		second.exam = false
	default:
		return
	}
	second.noted = second.seen + m.noteDelay(second.result)
	m.addOutcome(e, second)
}

// vetExam gives the vet's own reading of some checks. Signs change on the way
// and under treatment, so a later reading is not a check on the owner.
func (m *model) vetExam(e *episode, o *outcome) {
	d := m.d
	o.exam = true
	o.begun = int8(d.pick([]float64{0.1, 0.25, 0.65}))
	c := e.first()
	for i, f := range vetFindings {
		o.vetChecks[i] = -1
		if !d.chance(0.8) {
			continue
		}
		truth := check{f: f, trueCode: -1}
		for j := range c.checks[:c.n] {
			if c.checks[j].f == f {
				truth = c.checks[j]
			}
		}
		if truth.trueCode < 0 {
			truth.trueCode, truth.trueValue = m.trueSign(e, f)
		}
		o.vetChecks[i] = m.vetReading(f, truth, o)
	}
}

func (m *model) vetReading(f Finding, truth check, o *outcome) float64 {
	d := m.d
	if findingTable[f].codes != nil {
		code := truth.trueCode
		if o.begun == 1 && d.chance(0.4) {
			code = 0
		}
		return float64(code)
	}
	v := truth.trueValue
	switch f {
	case CapillaryRefill:
		return roundTo(max(0.5, v+d.normal(0, 0.15)), 0.5)
	case BreathingRate:
		return roundTo(max(6, v*1.2+d.normal(0, 3)), 2) // breathing is faster in the consulting room
	}
	return roundTo(v+d.normal(0, 0.1), 0.1)
}

// noShow is the practice's or the line's note that a sent animal did not come.
func (m *model) noShow(e *episode) {
	d := m.d
	noted := d.chance(0.65)
	if !noted || e.home.practice < 0 {
		return
	}
	o := outcome{feed: e.home.practice, route: advisedVisit, result: didNotAttend, call: e.first().number,
		seen: e.start + int64(d.between(3*hour, 14*hour)), stay: e.fate.stay, match: 100}
	o.noted = o.seen + int64(d.between(hour, 4*24*hour))
	m.addOutcome(e, o)
}

// ownerTells fills a follow-up row with what the owner reports and the level
// that the nurse judges in hindsight.
func (m *model) ownerTells(e *episode, o *outcome, at int64) {
	d := m.d
	o.noted = at + int64(d.between(60, 1800))
	o.seen = at
	o.level = Level(e.need + 1)
	o.knew = 1
	event := e.start + int64(d.between(10*hour, 60*hour))
	drawn := d.u()
	switch {
	case e.fate.seen:
		event, o.result, o.why = e.fate.seenAt, e.fate.result, e.fate.why
	case e.need == 3:
		o.result = pickAt(drawn, unseenEmergency[:])
	case e.need == 2:
		o.result = pickAt(drawn, unseenSameDay[:])
	default:
		o.result = sentHome
	}
	if e.need >= 2 {
		o.seen = event
	}
	if o.result == euthanised && o.why == whyNone {
		o.why = whyWelfare
	}
}

// What became of animals that needed care and were not seen by a practice of
// the scheme, by result: some found help elsewhere, some died at home.
var (
	unseenEmergency = [...]float64{treatedSentHome: 0.15, admitted: 0.35, operated: 0.15, died: 0.22, euthanised: 0.13}
	unseenSameDay   = [...]float64{sentHome: 0.35, treatedSentHome: 0.55, admitted: 0.10}
)

// pickAt returns the index at which the running sum of shares passes x.
func pickAt(x float64, shares []float64) int8 {
	for i, p := range shares {
		if x -= p; x < 0 {
			return int8(i)
		}
	}
	return int8(len(shares) - 1)
}

// followUp is the systematic follow-up that some sites do for animals kept at
// home: chosen by a coin, not by need.
func (m *model) followUp(e *episode, sub uint64) {
	d := m.d
	d.roll(m.seed, streamFollowUp, sub)
	chosen := d.chance([numSites]float64{0.07, 0.03, 0.05}[e.home.site])
	reached := d.chance(0.72 + 0.26*e.home.answers)
	at := e.start + int64(d.between(74*hour, 110*hour))
	if !chosen || e.first().level >= SameDay {
		return
	}
	o := outcome{feed: feedLine, route: followUpCall, call: e.first().number, reached: 1, match: 100}
	if reached {
		m.ownerTells(e, &o, at)
	} else {
		o.seen, o.noted, o.result, o.reached = at, at+600, lost, 2
	}
	m.addOutcome(e, o)
}

// AuditShare is the selection probability of the weekly random audit.
const AuditShare = 0.05

// auditCall is the weekly random audit: every Monday a fixed share of the
// calls of four to ten days ago that were not escalated, and of the escalated
// animals that no practice saw, is rung up.
func (m *model) auditCall(e *episode, sub uint64) {
	d := m.d
	d.roll(m.seed, streamAudit, sub)
	chosen := d.chance(AuditShare)
	reached := d.chance(0.55 + 0.30*e.home.answers)
	within := int64(d.between(9*hour, 17*hour))
	recorded := e.fate.seen && !e.fate.outside
	if !chosen || e.first().level >= SameDay && recorded {
		return
	}
	at := m.cal.nextMonday(e.start+4*24*hour) + within
	o := outcome{feed: feedLine, route: auditCall, call: e.first().number, reached: 1, match: 100, p: AuditShare}
	if reached {
		m.ownerTells(e, &o, at)
		if !e.fate.seen && e.first().level >= SameDay {
			o.stay = e.fate.stay
		}
	} else {
		o.seen, o.noted, o.result, o.reached = at, at+600, lost, 2
	}
	m.addOutcome(e, o)
}

func (m *model) addOutcome(e *episode, o outcome) {
	if e.no == len(e.outcomes) {
		return
	}
	o.number = (m.unit.number*3+int64(e.line-1))*10 + int64(e.no)
	e.outcomes[e.no] = o
	e.no++
}
