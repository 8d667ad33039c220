package demo

// Versions of the record of one call that exports show one after the other.
const (
	final int8 = iota
	notClosed
	otherAdvice
	otherComplaint
)

// writer turns units into rows of the exports.
type writer struct {
	m         *model
	s         *shelf
	r         row
	sum       *Summary
	lastStart int64 // start of the unit before
	d         *dice
}

func (w *writer) blank() { w.r.text(blankWords[w.d.below(len(blankWords))]) }

func (w *writer) local(unix int64) { w.r.localMinute(w.m.cal.zone.local(unix)) }

// put sends the finished row to a file.
func (w *writer) put(kind, month int) error { return w.s.add(kind, month, w.r.end()) }

// unit writes all that the exports hold about one unit.
func (w *writer) unit(u *unit) error {
	if err := w.s.advance(u.month); err != nil {
		return err
	}
	w.d.roll(w.m.seed, streamExport, uint64(u.index))
	w.count(u)
	if u.kind != unitClinical {
		if err := w.bare(u); err != nil {
			return err
		}
		return w.brokenCalls(u)
	}
	if u.transfer != 0 {
		if err := w.reception(u); err != nil {
			return err
		}
	}
	for k := range u.n {
		e := &u.eps[k]
		for i := range e.contacts[:e.nc] {
			if err := w.contact(u, e, &e.contacts[i]); err != nil {
				return err
			}
		}
		if err := w.outcomes(e); err != nil {
			return err
		}
	}
	return w.brokenCalls(u)
}

// overlapSeconds is how far a month's export reaches back into the month
// before.
const overlapSeconds = 3 * 24 * hour

// showing is how one record appears in the exports: in which months, and in
// which version first.
type showing struct {
	month int
	again int  // the later month that shows it again, -1 none
	early int8 // version in the first month
	twice bool // the same row twice in the same file
}

// showing draws how a record that began at a moment appears, from the unit's
// dice.
func (w *writer) showing(start int64) showing {
	cal, d := w.m.cal, w.d
	x := showing{month: cal.month(start), again: -1}
	x.month = min(x.month, len(cal.months)-1)
	last := x.month == len(cal.months)-1
	overlap := start >= cal.starts[x.month+1]-overlapSeconds
	edited, reopened := d.chance(0.06), d.chance(0.007)
	kind := int8(1 + d.below(3))
	x.twice = d.chance(0.003)
	switch {
	case last:
	case overlap:
		x.again = x.month + 1
		w.sum.OverlapCallRows++
		if edited {
			x.early = kind
			w.sum.EditedCalls++
		}
	case reopened:
		x.again, x.early = x.month+1, notClosed
		w.sum.ReopenedCalls++
	}
	return x
}

// contact writes a call record and its checks wherever they are shown.
func (w *writer) contact(u *unit, e *episode, c *contact) error {
	x := w.showing(c.start)
	if x.twice {
		w.sum.DuplicateCallRows++
	}
	dupChecks := x.twice && w.d.chance(0.5)
	broken := w.d.chance(0.004)
	which := w.d.below(numBrokenChecks)
	key := uint64(c.number)*8 + uint64(e.line)
	times := 1
	if x.twice {
		times = 2
	}
	for range times {
		w.callRow(u, e, c, key, x.early)
		if err := w.put(callsFile, x.month); err != nil {
			return err
		}
		w.sum.CallRows++
	}
	if err := w.checks(e, c, key, x.month, x.early, dupChecks); err != nil {
		return err
	}
	if broken && c.n > 0 {
		if err := w.brokenCheck(e, c, x.month, which); err != nil {
			return err
		}
	}
	if x.again < 0 {
		return nil
	}
	w.callRow(u, e, c, key, final)
	w.sum.CallRows++
	if err := w.put(callsFile, x.again); err != nil {
		return err
	}
	return w.checks(e, c, key, x.again, final, false)
}

// callRow builds the row of one contact with one animal.
func (w *writer) callRow(u *unit, e *episode, c *contact, key uint64, version int8) {
	d := w.d
	d.roll(w.m.seed, streamExport, key|1<<55)
	r := &w.r
	r.reset()
	r.key('C', c.number)
	r.whole(int64(e.line))
	r.text(siteWords[e.home.site])
	r.text(unitWords[unitClinical])
	r.text(kindWords[c.kind])
	if c.from != 0 {
		r.key('C', c.from)
	} else {
		w.blank()
	}
	w.local(c.start)
	if version == notClosed {
		w.blank()
	} else {
		w.local(c.start + int64(c.seconds))
	}
	w.animalCells(e, c.start)
	reason := conditions[e.condition].complaint
	if version == otherComplaint {
		reason = "advice"
	}
	r.text(reason)
	r.key('N', int64(c.advisor+11))
	w.adviceCells(c, version)
	r.text(yesNoWords[c.safetyNet])
	r.whole(int64(c.seconds))
	r.text(hurtWords[c.hurt])
	w.local(c.start + int64(c.seconds) + 60)
	r.text(complainedWords[w.complained(e, c, key)])
}

// complained draws whether the owner complained of the contact: about the
// advice more often where the animal then needed more than was said.
func (w *writer) complained(e *episode, c *contact, key uint64) int {
	w.d.roll(w.m.seed, streamComplaint, key)
	about := 0.0015
	if c.kind == first && e.fate.missed {
		about = 0.05
	}
	return w.d.pick([]float64{1 - about - 0.001, about, 0.001})
}

// animalCells adds keys, species, sex, age and weight.
func (w *writer) animalCells(e *episode, start int64) {
	r, d := &w.r, w.d
	r.key('A', int64(e.pet.id)+500000)
	r.key('H', int64(e.home.id)+70000)
	r.text(animalWords[e.pet.species])
	r.text(breedGroups[e.pet.species][e.pet.breed])
	switch {
	case !e.pet.sexKnown:
		w.blank()
	case e.pet.male:
		r.text("m")
	default:
		r.text("f")
	}
	r.text(neuterWords[e.pet.neutered])
	if age := e.pet.ageMonths(start); age < 24 {
		r.whole(int64(age))
		r.text("months")
	} else {
		r.whole(int64(age / 12))
		r.text("years")
	}
	kg := e.pet.weightKg(start)
	switch x := d.u(); {
	case x < 0.12:
		w.blank()
		r.text("kg")
	case x < 0.155:
		r.decimal(kg*2.2046226, 1)
		r.text("lb")
	default:
		r.decimal(kg, 1)
		r.text("kg")
	}
}

// wrongButton is what an advisor pressed by mistake and put right later.
var wrongButton = [...]Level{LevelNone, Soon, HomeCare, Soon, SameDay}

// ruleset is the version of the rules that the call system names.
const ruleset = "demo_2026_1"

func (w *writer) adviceCells(c *contact, version int8) {
	r := &w.r
	level := c.level
	switch version {
	case notClosed:
		level = LevelNone
	case otherAdvice:
		level = wrongButton[level]
	}
	if level == LevelNone {
		w.blank()
	} else {
		r.text(levelWords[level])
	}
	if c.ruleLevel == LevelNone {
		w.blank()
	} else {
		r.text(levelWords[c.ruleLevel])
	}
	r.text(ruleset)
	r.text(whyWords[c.override])
}

// checks writes one row a question.
func (w *writer) checks(e *episode, c *contact, key uint64, month int, version int8, twice bool) error {
	d := w.d
	d.roll(w.m.seed, streamExport, key|1<<56)
	n := c.n
	if version == notClosed && n > 2 {
		n-- // the last question had not been saved
	}
	for i := range n {
		w.checkRow(e, c, &c.checks[i], i+1, version)
		if err := w.put(checksFile, month); err != nil {
			return err
		}
		w.sum.CheckRows++
		if twice && i == 0 {
			w.sum.DuplicateCheckRows++
			w.sum.CheckRows++
			if err := w.s.add(checksFile, month, w.r.b); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *writer) checkRow(e *episode, c *contact, k *check, no int, version int8) {
	r, d := &w.r, w.d
	r.reset()
	r.key('C', c.number)
	r.whole(int64(e.line))
	r.whole(int64(no))
	r.text(findingTable[k.f].item)
	w.answer(k)
	r.text("owner")
	r.text(whereWords[k.where])
	r.text(wasWords[k.was])
	r.text(heldWords[k.held])
	r.text(stateWords[k.state])
	r.text(reasonWords[k.reason])
	asked := c.start + int64(k.after)
	w.local(asked)
	if d.chance(0.01) && version == final {
		w.local(asked + 240)
	} else {
		r.text("")
	}
}

// answer adds answer, unit, count and seconds.
func (w *writer) answer(k *check) {
	r := &w.r
	info := &findingTable[k.f]
	switch {
	case k.state != done:
		w.blank()
		r.text("")
	case info.codes != nil:
		r.text(info.words[k.code])
		r.text("")
	default:
		if k.count > 0 {
			r.whole(int64(k.count))
			r.text("")
			break
		}
		r.decimal(k.value, 1)
		r.text(unitWord(k.f))
	}
	if k.state == done && k.count > 0 {
		r.whole(int64(k.count))
		r.whole(int64(k.window))
		return
	}
	r.text("")
	r.text("")
}

// reception writes the record of the first leg of a transferred call: no
// advice, no checks.
func (w *writer) reception(u *unit) error {
	w.sum.Transfers++
	e := &u.eps[0]
	c := contact{kind: first, number: u.transfer, start: u.start, seconds: 150, advisor: e.home.site*8 + 7}
	return w.contact(u, e, &c)
}

// bare writes a record that is not about an animal to be advised on.
func (w *writer) bare(u *unit) error {
	x := w.showing(u.start)
	x.early = final
	if x.twice {
		w.sum.DuplicateCallRows++
	}
	months := []int{x.month, -1, x.again}
	if x.twice {
		months[1] = x.month
	}
	for _, month := range months {
		if month < 0 {
			continue
		}
		w.bareRow(u)
		w.sum.CallRows++
		if err := w.put(callsFile, month); err != nil {
			return err
		}
	}
	return nil
}

func (w *writer) bareRow(u *unit) {
	w.d.roll(w.m.seed, streamExport, uint64(u.number)*8|1<<55)
	r := &w.r
	r.reset()
	r.key('C', u.number)
	r.whole(1)
	r.text(siteWords[u.home.site])
	r.text(unitWords[u.kind])
	r.text("new")
	w.blank()
	w.local(u.start)
	w.local(u.start + int64(u.seconds))
	w.blank()
	w.blank()
	animal := "none"
	if u.kind == unitDead || u.kind == unitThirdParty {
		animal = animalWords[u.index%numSpecies]
	}
	r.text(animal)
	for range 7 {
		r.text("")
	}
	r.text("")
	r.key('N', int64(u.advisor+11))
	for range 5 {
		r.text("")
	}
	r.whole(int64(u.seconds))
	r.text("no")
	w.local(u.start + int64(u.seconds) + 60)
	r.text(complainedWords[0])
}
