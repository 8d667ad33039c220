package demo

// Whether a check was made, as the exports tell it.
const (
	done int8 = iota
	notPossible
	declined
	notAsked
)

// Why a check was not made.
const (
	noReason int8 = iota
	stoppedEarly
	skipLogic
	resisted
	unsafe
	dark
	ownerUnsure
	noEquipment
	otherReason
)

// How the animal was held.
const (
	free int8 = iota
	held
	wrapped
	refused
)

// Slips of unit that the exports contain.
const (
	noSlip int8 = iota
	slipFahrenheit
	slipQuarterMinute // breaths in 15 s written down as breaths a minute
)

// check is one question of a call with its answer.
type check struct {
	f             Finding
	state, reason int8
	held          int8
	where         int8 // 0 home, 1 car, 2 clinic
	was           int8 // 0 at rest, 1 asleep, 2 excited
	code          int8 // answer by position; coded checks
	trueCode      int8
	slip          int8
	value         float64 // answer in units, as written down
	trueValue     float64
	count, window int16 // breaths counted and seconds, 0 if not counted
	after         int16 // seconds after the call began
}

const maxChecks = 14

// form lists the questions for this animal and complaint in the order asked.
// Collapse and breathing effort come first for every animal, mouth breathing
// and urine for every cat, belly and retching for every large dog.
func (m *model) form(e *episode) []Finding {
	f := append(m.formBuf[:0], Collapse, BreathingEffort)
	if e.pet.species == cat {
		f = append(f, MouthBreathing, Urination)
	}
	if e.pet.largeDog() {
		f = append(f, BellyFeel, Retching)
	}
	for _, q := range conditions[e.condition].form {
		if !contains(f, q) && len(f) < maxChecks {
			f = append(f, q)
		}
	}
	m.formBuf = f
	return f
}

func contains(list []Finding, f Finding) bool {
	for _, x := range list {
		if x == f {
			return true
		}
	}
	return false
}

// ask goes through the form: true sign, what the owner makes of it, what was
// not asked. Once an emergency sign has been found the advisor mostly stops.
func (m *model) ask(e *episode, c *contact, form []Finding) {
	d := m.d
	where := int8(d.pick([]float64{0.94, 0.04, 0.02}))
	refusesAll := e.refusesAll && c.kind == first
	stopped := false
	after := int16(20 + d.below(40))
	for _, f := range form {
		k := check{f: f, where: where, after: after}
		after += int16(15 + d.below(50))
		k.trueCode, k.trueValue = m.trueSign(e, f)
		m.conduct(e, &k, stopped, refusesAll)
		if k.state == done {
			m.read(e, &k)
			if !stopped && emergencySign(e.pet, &k) && d.chance(0.8) {
				stopped = true
			}
		}
		c.add(k)
	}
}

// universal checks are answered by looking, without touching the animal.
func universal(f Finding) bool {
	switch f {
	case Collapse, BreathingEffort, MouthBreathing, Urination, Retching, SuspectedPoison, RoadAccident, HeatExposure, Fits:
		return true
	}
	return false
}

// conduct decides whether the check is made and how the animal is held.
func (m *model) conduct(e *episode, k *check, stopped, refusesAll bool) {
	d := m.d
	switch {
	case refusesAll:
		k.state = declined
		return
	case stopped:
		k.state, k.reason = notAsked, stoppedEarly
		return
	case universal(k.f):
		if d.chance(0.0015) {
			k.state, k.reason = notPossible, ownerUnsure
		}
		return
	case k.f == AnalGlands && d.chance(0.4):
		k.state, k.reason = notAsked, skipLogic
		return
	case k.f == ToePinch && k.trueCode == 0 && d.chance(0.25):
		k.state, k.reason = notAsked, skipLogic
		return
	case d.chance(e.home.declines * 0.5):
		k.state = declined
		return
	}
	k.held = int8(d.pick([]float64{0.50, 0.35, 0.12, 0.03}))
	if e.pet.species == cat && k.held == free && d.chance(0.3) {
		k.held = wrapped
	}
	m.tryCheck(e, k)
}

// tryCheck draws the reasons why a touching or counting check fails.
func (m *model) tryCheck(e *episode, k *check) {
	d := m.d
	fail := 0.025
	if e.pet.species == cat {
		fail = 0.06
	}
	switch {
	case k.held == refused:
		k.state, k.reason = notPossible, resisted
	case k.f == Temperature && d.chance(0.42):
		k.state, k.reason = notPossible, noEquipment
	case k.f == HeartRate && d.chance(0.25):
		k.state, k.reason = notPossible, ownerUnsure
	case d.chance(fail):
		k.state = notPossible
		k.reason = []int8{resisted, resisted, unsafe, dark, ownerUnsure, otherReason}[d.below(6)]
	}
}

// misread gives the chance that the owner misses an abnormal sign, and that
// the owner sees one where there is none.
var missChance, alarmChance = misreadTables()

func misreadTables() (miss, alarm [NumFindings]float64) {
	for f := range miss {
		miss[f], alarm[f] = 0.06, 0.01
	}
	miss[GumColour], alarm[GumColour] = 0.08, 0.02
	miss[TongueColour], alarm[TongueColour] = 0.08, 0.012
	miss[BreathingEffort], alarm[BreathingEffort] = 0.05, 0.015
	miss[BellyFeel], alarm[BellyFeel] = 0.10, 0.02
	miss[Pupils], alarm[Pupils] = 0.10, 0.006
	miss[Retching], alarm[Retching] = 0.06, 0.02
	miss[Collapse], alarm[Collapse] = 0.01, 0.0006
	miss[Urination], alarm[Urination] = 0.05, 0.008
	miss[MouthBreathing], alarm[MouthBreathing] = 0.03, 0.003
	for _, f := range []Finding{SuspectedPoison, RoadAccident, HeatExposure, Fits} {
		miss[f], alarm[f] = 0.005, 0.001
	}
	return miss, alarm
}

// read turns the true sign into what the owner says and the advisor writes.
func (m *model) read(e *episode, k *check) {
	if findingTable[k.f].codes == nil {
		m.readNumber(e, k)
		return
	}
	d := m.d
	k.code = k.trueCode
	if e.pet.darkGums && (k.f == GumColour || k.f == TongueColour && d.chance(0.5)) {
		k.code = gumDark
		return
	}
	switch {
	case k.trueCode != 0 && d.chance(missChance[k.f]*e.home.misreads):
		k.code = 0
	case k.trueCode == 0 && d.chance(alarmChance[k.f]*e.home.misreads):
		k.code = 1
	case k.f == Pupils && d.chance(0.04):
		k.code = 4 // cannot tell
	case k.f == LowerEyelid && d.chance(0.05):
		k.code = 5 // cannot see
	}
}

// readNumber adds the owner's error, the heaping on round numbers and the
// slips of unit.
func (m *model) readNumber(e *episode, k *check) {
	d := m.d
	v := k.trueValue
	switch k.f {
	case CapillaryRefill:
		v = max(0.5, v+d.normal(0, 0.25*e.home.misreads))
		switch x := d.u(); {
		case e.home.roundsTo2 && v > 1 && v < 2.6:
			v = 2
		case x < 0.72:
			v = roundTo(max(v, 1), 1)
		case x < 0.92:
			v = roundTo(v, 0.5)
		default:
			v = roundTo(v, 0.1)
		}
	case BreathingRate:
		v = m.countBreaths(e, k, v)
	case HeartRate:
		v = roundTo(v+d.normal(0, 8), []float64{1, 2, 4, 10}[d.below(4)])
	case Temperature:
		v = roundTo(v+d.normal(0, 0.12), 0.1)
		if d.chance(0.25) {
			v = roundTo(v, 0.5)
		}
		if d.chance(0.03) {
			// Written in degrees Fahrenheit in a column meant for Celsius.
			k.slip = slipFahrenheit
			v = roundTo(v*9/5+32, 0.1)
		}
	default: // hours
		step := 1.0
		if v > 12 && d.chance(0.5) {
			step = 6
		}
		v = max(1, roundTo(v, step))
	}
	k.value = v
}

func (m *model) countBreaths(e *episode, k *check, v float64) float64 {
	d := m.d
	k.was = int8(d.pick([]float64{0.78, 0.14, 0.08}))
	if k.was == 2 || k.where != 0 {
		v *= 1.15 // an excited or travelling animal breathes faster
	}
	v = max(6, v+d.normal(0, 1.5*e.home.misreads))
	k.window = []int16{15, 15, 30, 30, 60}[d.below(5)]
	k.count = int16(max(1, v*float64(k.window)/60+0.5))
	if k.window == 60 && d.chance(0.4) {
		k.count = int16(roundTo(float64(k.count), 10)) // "about forty"
		k.count = max(k.count, 10)
	}
	if k.window == 15 && d.chance(0.02) {
		k.slip = slipQuarterMinute
		k.window = 60
	}
	return float64(k.count) * 60 / float64(k.window)
}

func roundTo(v, step float64) float64 {
	n := v/step + 0.5
	return float64(int64(n)) * step
}

// scaled is the answer as the store should hold it: code position from 1, or
// the value in units of 1/scale. Celsius is recovered from a Fahrenheit slip.
func (k *check) scaled() int {
	info := &findingTable[k.f]
	if info.codes != nil {
		return int(k.code) + 1
	}
	v := k.value
	if k.slip == slipFahrenheit {
		v = (v - 32) * 5 / 9
	}
	return int(v*float64(info.scale) + 0.5)
}

// trueScaled is the same for the true sign.
func (k *check) trueScaled() int {
	info := &findingTable[k.f]
	if info.codes != nil {
		return int(k.trueCode) + 1
	}
	return int(k.trueValue*float64(info.scale) + 0.5)
}
