package demo

// Kinds of broken rows in the checks files.
const (
	brokenAnswerWord int = iota
	brokenNumber
	brokenRange
	brokenOrphanCheck
	brokenBlankAnswer
	numBrokenChecks
)

// Kinds of broken rows in the outcomes files.
const (
	brokenResultWord int = iota
	brokenSeen
	brokenOutcomeKey
	numBrokenOutcomes
)

// brokenCalls adds, beside the good rows, a few that no reader can use: an
// unknown word, a day that does not exist, no call number, and a local time
// that daylight saving skips.
func (w *writer) brokenCalls(u *unit) error {
	d := w.d
	d.roll(w.m.seed, streamExport, uint64(u.index)|1<<57)
	word, date, key := d.chance(0.0005), d.chance(0.0005), d.chance(0.0004)
	skipped, found := w.m.cal.skippedTime(u.start, w.lastStart)
	w.lastStart = u.start
	number := u.number + numberStep - 1
	var err error
	add := func(n int64, animal, started string, count *int64) {
		if err == nil {
			err = w.brokenCall(u, n, animal, started)
			*count++
		}
	}
	if word {
		add(number, "Parrot?", "", &w.sum.Broken.CallUnknownWord)
	}
	if date {
		add(number, "Dog", "31.02.2026 10:15", &w.sum.Broken.CallBadDate)
	}
	if key {
		add(0, "Cat", "", &w.sum.Broken.CallMissingKey)
	}
	if found {
		w.r.reset()
		w.r.localMinute(skipped)
		text := string(w.r.b[:len(w.r.b)-1])
		add(number, "Dog", text, &w.sum.Broken.CallSkippedHour)
	}
	return err
}

// brokenCall writes one such row into the month of the unit.
func (w *writer) brokenCall(u *unit, number int64, animal, started string) error {
	r := &w.r
	r.reset()
	if number == 0 {
		r.text("")
	} else {
		r.key('C', number)
	}
	r.whole(1)
	r.text(siteWords[u.home.site])
	r.text(unitWords[unitClinical])
	r.text(kindWords[first])
	r.text("")
	if started == "" {
		w.local(u.start)
	} else {
		r.text(started)
	}
	r.text("")
	r.key('A', int64(u.home.id*4)+500000)
	r.key('H', int64(u.home.id)+70000)
	r.text(animal)
	for range 7 {
		r.text("")
	}
	r.text("advice")
	r.key('N', int64(u.advisor+11))
	r.text(levelWords[HomeCare])
	r.text("")
	r.text(ruleset)
	r.text("")
	r.text("")
	r.whole(60)
	r.text("no")
	r.text("")
	r.text(complainedWords[0])
	w.sum.CallRows++
	return w.put(callsFile, u.month)
}

// skippedTime returns a wall-clock time that the change to summer time skips,
// if the change lies between two units.
func (c *calendar) skippedTime(unix, before int64) (local int64, found bool) {
	for i := 0; i+1 < len(c.zone.until); i++ {
		at := c.zone.until[i]
		if before != 0 && before < at && at <= unix && c.zone.offset[i+1] > c.zone.offset[i] {
			return at + c.zone.offset[i] + 1800, true
		}
	}
	return 0, false
}

// brokenCheck adds a row to the checks of a good call that a reader must set
// aside.
func (w *writer) brokenCheck(e *episode, c *contact, month, kind int) error {
	number, item, answer, unit := c.number, "GUM", "rosy", ""
	b := &w.sum.Broken
	switch kind {
	case brokenAnswerWord:
		b.CheckUnknownWord++
	case brokenNumber:
		item, answer, unit = "CRT", "ca 2", "s"
		b.CheckBadNumber++
	case brokenRange:
		item, answer, unit = "TEMP", "385", "C"
		b.CheckOutOfRange++
	case brokenOrphanCheck:
		number, answer = u8(c.number), "pink"
		w.sum.OrphanChecks++
	case brokenBlankAnswer:
		answer = ""
		b.CheckBlankAnswer++
	}
	r := &w.r
	r.reset()
	r.key('C', number)
	r.whole(int64(e.line))
	r.whole(int64(c.n + 1))
	r.text(item)
	r.text(answer)
	r.text(unit)
	r.text("")
	r.text("")
	r.text("owner")
	r.text(whereWords[0])
	r.text(wasWords[0])
	r.text(heldWords[0])
	r.text(stateWords[done])
	r.text("")
	w.local(c.start + 300)
	r.text("")
	w.sum.CheckRows++
	return w.put(checksFile, month)
}

// u8 is a call number of the same unit that no call has.
func u8(number int64) int64 { return number - number%numberStep + numberStep - 2 }

// brokenOutcome adds a row beside a good outcome.
func (w *writer) brokenOutcome(e *episode, o *outcome, month, kind int) error {
	r := &w.r
	r.reset()
	r.sep, r.comma = ',', false
	defer func() { r.sep, r.comma = ';', true }()
	number, result := o.number+9, resultWords[sentHome]
	switch kind {
	case brokenResultWord:
		result = "see notes"
		w.sum.Broken.OutcomeUnknownWord++
	case brokenSeen:
		w.sum.Broken.OutcomeBadDate++
	case brokenOutcomeKey:
		w.sum.Broken.OutcomeMissingKey++
	}
	if kind == brokenOutcomeKey {
		r.text("")
	} else {
		r.key('O', number)
	}
	w.linkCells(e, o, false)
	r.text(FeedIDs[o.feed])
	r.text("vet")
	r.text(routeWords[advisedVisit])
	if kind == brokenSeen {
		r.text("2026-02-30T10:00:00+01:00")
	} else {
		w.iso(o.seen)
	}
	w.iso(o.noted)
	r.text(vetLevel[HomeCare])
	r.text(result)
	r.text("n")
	for range 12 {
		r.text("")
	}
	r.end()
	return w.putOutcome(o, month)
}
