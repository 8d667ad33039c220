package demo

// What a practice does, by need and result. Deaths, operations and time-critical
// treatment within the window belong to true emergencies; an animal that needed
// care the same day may be admitted.
var (
	resultByNeed = [4][]float64{
		0: {sentHome: 0.72, treatedSentHome: 0.277, euthanised: 0.003},
		1: {sentHome: 0.28, treatedSentHome: 0.705, referred: 0.01, euthanised: 0.005},
		2: {sentHome: 0.05, treatedSentHome: 0.73, admitted: 0.15, referred: 0.05, euthanised: 0.02},
		3: {treatedSentHome: 0.11, admitted: 0.38, operated: 0.19, referred: 0.08, died: 0.06, euthanised: 0.15, deadOnArrival: 0.03},
	}
	// Below an emergency, euthanasia says nothing about how ill the animal was.
	whyByNeed = [4][]float64{
		0: {whyCost: 0.1, whyPlanned: 0.7, whyBehaviour: 0.2},
		1: {whyCost: 0.1, whyPlanned: 0.7, whyBehaviour: 0.2},
		2: {whyCost: 0.6, whyPlanned: 0.3, whyBehaviour: 0.1},
		3: {whyPrognosis: 0.45, whyWelfare: 0.22, whyCost: 0.15, whyMixed: 0.12, whyUnknown: 0.06},
	}
)

// criticalShare is the share of emergencies whose treatment could not wait.
const criticalShare = 0.8

// vetResult draws what the practice did and found.
func (m *model) vetResult(e *episode, o *outcome) {
	d := m.d
	o.result = int8(d.pick(resultByNeed[e.need]))
	o.critical = e.need == 3 && d.chance(criticalShare)
	if o.result == euthanised {
		o.why = int8(d.pick(whyByNeed[e.need]))
	}
	o.level = m.vetLevel(e.need)
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
