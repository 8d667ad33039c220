package demo

import "context"

// State says whether a check was made in the first contact.
type State int8

// States of a check; NotOnForm is a check that the form does not hold.
const (
	Done State = iota
	NotPossible
	Declined
	NotAsked
	NotOnForm
)

// Reading is one check of the first contact beside the truth.
type Reading struct {
	State State
	// StoppedEarly marks a NotAsked that an emergency sign found earlier caused.
	StoppedEarly bool
	// Unreadable marks an answer that no rule can use (dark gums).
	Unreadable bool
	// Recorded is what the store should hold: the code's position from 1, or
	// the value times Finding.Scale, rounded. It means nothing unless State
	// is Done.
	Recorded int
	// True is the same for what a careful observer would have found; 0 if the
	// check is not on the form.
	True int
}

// Route says how the need of an episode became known.
type Route int8

// Routes in the order in which one is preferred to the next.
const (
	RouteNone Route = iota
	RouteAdvisedVisit
	RouteOwnDecision
	RouteCallBack
	RouteAudit
)

// Episode is one animal's illness with what the line recorded and the truth.
type Episode struct {
	// Call and Line are the record that carries the first advice, Contact the
	// number under which a transfer began (equal to Call otherwise).
	Call    int64
	Line    int
	Contact int64
	// Animal and Owner recur over the months.
	Animal, Owner uint64
	// Start is the first contact in Unix seconds, Month its export month
	// counted from 0.
	Start int64
	Month int
	// Site, Species, BreedGroup, Sex, Complaint are in the line's identifiers.
	Site, Species, BreedGroup, Sex, Complaint string
	AgeMonths                                 int
	Advisor                                   int

	// Level is the advice given at the first contact, RuleLevel what the rules
	// demanded (LevelNone if nothing was assessed), LaterLevel the highest
	// advice at a later contact.
	Level, RuleLevel, LaterLevel Level
	// Fired and Unknown have one bit a flag, in the order of FlagIDs.
	Fired, Unknown uint64
	Contacts       int
	Readings       [NumFindings]Reading

	// Need is the truth: how soon the animal had to be seen.
	Need Level
	// NeedEmergency and NeedSameDay are the truth at the two cuts.
	NeedEmergency, NeedSameDay bool

	// Verified says that a vet's finding or a reached owner tells the need,
	// whenever that was written down. A file that never arrived and a visit
	// outside the scheme do not verify, nor does a row without level and result.
	// Route says how the episode came to be known, visits first; a visit whose
	// row says nothing still counts as the route.
	Verified bool
	Route    Route
	// NotedAt is when the row that gives Route was written down, Unix seconds.
	NotedAt int64
	// FoundEmergency and FoundSameDay are what the recorded outcomes say at
	// the two cuts; they differ from the truth where a vet disagreed.
	FoundEmergency, FoundSameDay bool
	// Attended says that the animal was in truth taken to a vet.
	Attended                      bool
	AuditSelected, AuditResponded bool
}

// Simulate draws the same line as Generate without writing files and hands
// every episode to visit, in order of time. The episode is reused between
// calls and must be copied to be kept.
func Simulate(o Options, visit func(*Episode)) error {
	o, err := o.withDefaults()
	if err != nil {
		return err
	}
	var pub Episode
	return eachUnit(context.Background(), o, func(m *model, u *unit) error {
		for k := range u.n {
			m.publish(u, &u.eps[k], &pub)
			visit(&pub)
		}
		return nil
	})
}

func (m *model) publish(u *unit, e *episode, p *Episode) {
	c := e.first()
	*p = Episode{
		Call: c.number, Line: e.line, Contact: u.number, Animal: e.pet.id, Owner: e.home.id,
		Start: u.start, Month: e.month,
		Site: SiteIDs[e.home.site], Species: speciesID[e.pet.species],
		BreedGroup: breedGroups[e.pet.species][e.pet.breed], Sex: sexID(e.pet),
		Complaint: conditions[e.condition].complaint, AgeMonths: e.pet.ageMonths(c.start), Advisor: c.advisor,
		Level: c.level, RuleLevel: c.ruleLevel, Fired: c.fired, Unknown: c.unknown, Contacts: e.nc,
		Need: Level(e.need + 1), NeedEmergency: e.need == 3, NeedSameDay: e.need >= 2,
		Attended: e.fate.seen,
	}
	for i := 1; i < e.nc; i++ {
		p.LaterLevel = max(p.LaterLevel, e.contacts[i].level)
	}
	publishReadings(c, p)
	m.publishOutcomes(e, p)
}

func sexID(a animal) string {
	switch {
	case !a.sexKnown:
		return "unknown"
	case a.male:
		return "male"
	}
	return "female"
}

func publishReadings(c *contact, p *Episode) {
	for f := range p.Readings {
		p.Readings[f].State = NotOnForm
	}
	for i := range c.checks[:c.n] {
		k := &c.checks[i]
		r := Reading{State: State(k.state), StoppedEarly: k.reason == stoppedEarly, True: k.trueScaled()}
		if k.state == done {
			r.Recorded = k.scaled()
			r.Unreadable = findingTable[k.f].codes != nil && unreadable(k.f, k.code)
		}
		p.Readings[k.f] = r
	}
}

// windowSeconds is the window of the line's case definition.
const windowSeconds = 72 * hour

func (m *model) publishOutcomes(e *episode, p *Episode) {
	for i := range e.outcomes[:e.no] {
		o := &e.outcomes[i]
		if o.route == auditCall {
			p.AuditSelected = true
			p.AuditResponded = p.AuditResponded || o.reached == 1
		}
		if m.arrives(o) < 0 || o.result == didNotAttend || o.result == lost {
			continue
		}
		if p.Route == RouteNone || Route(o.route) < p.Route {
			p.Route, p.NotedAt = Route(o.route), o.noted
		}
		if o.blank {
			continue
		}
		p.Verified = true
		if o.contradicts {
			continue // the vet's record stands
		}
		if o.seen-e.start <= windowSeconds {
			em, sd := o.finds()
			p.FoundEmergency = p.FoundEmergency || em
			p.FoundSameDay = p.FoundSameDay || sd
		}
	}
}

// finds applies the line's case definition to one outcome row.
func (o *outcome) finds() (emergency, sameDay bool) {
	emergency = o.level == Emergency || o.result == operated || o.critical ||
		o.result == died || o.result == deadOnArrival
	if o.result == euthanised {
		switch o.why {
		case whyPrognosis, whyWelfare, whyMixed, whyUnknown:
			emergency = true
		}
	}
	return emergency, emergency || o.level >= SameDay || o.result == admitted
}
