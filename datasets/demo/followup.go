package demo

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
	m.misremember(e, o)
}

// misremember lets a few owners tell of a stay at the practice of which the
// practice's own record, of the same time, knows nothing.
func (m *model) misremember(e *episode, o *outcome) {
	wrong := m.d.chance(0.05)
	if !wrong || o.result != sentHome && o.result != treatedSentHome {
		return
	}
	for i := range e.outcomes[:e.no] {
		v := &e.outcomes[i]
		if v.feed != feedLine && !v.blank && v.result == o.result && v.seen == e.fate.seenAt && m.arrives(v) >= 0 {
			o.result, o.seen, o.contradicts = admitted, e.fate.seenAt, true
			return
		}
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
