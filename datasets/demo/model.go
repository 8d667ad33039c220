package demo

// What an incoming unit is.
const (
	unitClinical int8 = iota
	unitTest
	unitAbandoned
	unitNotClinical
	unitDead
	unitThirdParty
)

var unitShare = []float64{0.865, 0.012, 0.043, 0.055, 0.008, 0.017}

// Kinds of contact, in the order in which they follow each other.
const (
	first int8 = iota
	callBack
	reContact
)

// contact is one call record about one animal.
type contact struct {
	kind      int8
	number    int64
	from      int64 // number of the call it was transferred from, 0 none
	start     int64 // Unix seconds
	seconds   int
	level     Level
	ruleLevel Level
	fired     uint64
	unknown   uint64
	override  int8
	safetyNet int8 // 0 not recorded, 1 told, 2 not told
	hurt      int8 // 0 none, 1 scratched, 2 bitten
	advisor   int
	checks    [maxChecks]check
	n         int
}

func (c *contact) add(k check) {
	if c.n < maxChecks {
		c.checks[c.n] = k
		c.n++
	}
}

// episode is one animal's illness as the line meets it.
type episode struct {
	line       int // line of the call, from 1
	month      int // export month of the first contact, from 0
	start      int64
	home       household
	pet        animal
	condition  int
	need       int // 0 home care, 1 soon, 2 same day, 3 emergency: the truth
	refusesAll bool
	contacts   [3]contact
	nc         int
	outcomes   [8]outcome
	no         int
	fate       fate
}

func (e *episode) first() *contact { return &e.contacts[0] }

// unit is one incoming call: an episode or several, or something else.
type unit struct {
	index    int
	kind     int8
	number   int64 // number of the first record
	start    int64
	month    int
	home     household
	transfer int64 // number of the reception's record, 0 none
	advisor  int
	seconds  int
	eps      [3]episode
	n        int
}

// model draws units one after another; nothing of an earlier unit is kept.
type model struct {
	seed    uint64
	world   World
	audit   bool
	cal     *calendar
	pool    int   // recurring households; they call at most once in poolDays
	d       *dice // the unit's own chance
	attr    *dice // attributes of households and animals
	formBuf []Finding
	unit    unit
}

// poolDays keeps two calls of a recurring household clear of the 72 h that
// would make them one episode.
const (
	poolDays  = 60
	poolShare = 0.40
	// numberStep leaves room for the further records of a unit.
	numberStep  = 10
	firstNumber = 10_000_000
)

func newModel(o Options) (*model, error) {
	cal, err := newCalendar(o.From, o.To, o.units())
	if err != nil {
		return nil, err
	}
	m := &model{seed: o.Seed, world: o.World, audit: !o.NoAudit, cal: cal, d: newDice(), attr: newDice()}
	days := float64(cal.hours) / 24
	if days >= poolDays {
		m.pool = int(float64(o.units()) * poolDays / days)
	}
	return m, nil
}

// draw fills the model's unit with unit i.
func (m *model) draw(i int) *unit {
	u := &m.unit
	d := m.d
	d.roll(m.seed, streamTime, uint64(i))
	u.index, u.n, u.transfer = i, 0, 0
	u.start = m.cal.place(i, d.u())
	u.month = m.cal.month(u.start)
	u.number = firstNumber + int64(i)*numberStep
	d.roll(m.seed, streamKind, uint64(i))
	u.kind = int8(d.pick(unitShare))
	homeID, ref := uint64(m.pool+i), u.start
	if m.pool > 0 && d.chance(poolShare) {
		homeID, ref = uint64(i%m.pool), m.cal.from.Unix()
	}
	u.home = m.household(homeID)
	u.advisor = u.home.site*8 + d.below(7)
	u.seconds = 25 + d.below(70)
	if u.kind != unitClinical {
		return u
	}
	u.seconds = 0
	if d.chance(0.03) {
		u.transfer = u.number
	}
	u.n = 1
	if u.transfer == 0 && d.chance(0.028) {
		u.n = 2
		if d.chance(0.2) {
			u.n = 3
		}
	}
	for k := range u.n {
		m.drawEpisode(u, k, ref)
	}
	return u
}

func (m *model) drawEpisode(u *unit, k int, ref int64) {
	e := &u.eps[k]
	e.line, e.month, e.start, e.home, e.nc, e.no = k+1, u.month, u.start, u.home, 0, 0
	e.fate = fate{}
	e.pet = m.animal(u.home.id*4+uint64(k), ref)
	d := m.d
	sub := uint64(u.index)*4 + uint64(k)
	d.roll(m.seed, streamClinical, sub)
	e.condition = m.pickCondition(e.pet.species, e.start)
	e.need = d.pick(conditions[e.condition].need[:])
	e.refusesAll = d.chance(0.003)
	c := &e.contacts[0]
	*c = contact{kind: first, number: u.number, start: u.start, advisor: u.advisor}
	if u.transfer != 0 {
		c.number, c.from = u.number+1, u.transfer
		c.start += 180
	}
	e.nc = 1
	m.ask(e, c, m.form(e))
	applyRules(e, c)
	c.hurt = int8(d.pick([]float64{0.975, 0.016, 0.009}))
	d.roll(m.seed, streamAdvice, sub)
	m.advise(e, c)
	m.close(c)
	m.follow(e, sub, u.number+2+2*int64(k))
}

// close draws the length of the call and what was said at its end.
func (m *model) close(c *contact) {
	d := m.d
	c.seconds = 110 + c.n*22 + d.below(240)
	told := 0.80
	if c.level >= SameDay {
		told = 0.55
	}
	switch {
	case d.chance(0.05):
		c.safetyNet = 0
	case d.chance(told):
		c.safetyNet = 1
	default:
		c.safetyNet = 2
	}
}

// conditionWeights[s][hot] are the weights of the reasons to ring; hot days
// bring heat, cold ones none.
var conditionWeights = buildWeights()

func buildWeights() (w [numSpecies][2][]float64) {
	for s := range w {
		for _, c := range conditions {
			x := c.weight[s]
			if c.complaint == "heat" {
				w[s][0], w[s][1] = append(w[s][0], 0), append(w[s][1], 3*x)
				continue
			}
			w[s][0], w[s][1] = append(w[s][0], x), append(w[s][1], x)
		}
	}
	return w
}

func (m *model) pickCondition(species int, start int64) int {
	_, month, _ := civil(m.cal.zone.local(start))
	hot := 0
	if month >= 6 && month <= 8 {
		hot = 1
	}
	return m.d.pick(conditionWeights[species][hot])
}

// civil turns seconds of a wall clock into year, month and day; the method is
// Hinnant's days-to-civil algorithm (public description, 2013).
func civil(sec int64) (year, month, day int) {
	days := sec / 86400
	if sec%86400 < 0 {
		days--
	}
	z := days + 719468
	era := z / 146097
	doe := z - era*146097
	yoe := (doe - doe/1460 + doe/36524 - doe/146096) / 365
	doy := doe - (365*yoe + yoe/4 - yoe/100)
	mp := (5*doy + 2) / 153
	day = int(doy - (153*mp+2)/5 + 1)
	month = int(mp + 3)
	if month > 12 {
		month -= 12
	}
	year = int(yoe + era*400)
	if month <= 2 {
		year++
	}
	return year, month, day
}
