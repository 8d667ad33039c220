package demo

// outcomes writes the rows that practices and the line's follow-up send.
func (w *writer) outcomes(e *episode) error {
	for i := range e.outcomes[:e.no] {
		o := &e.outcomes[i]
		w.countOutcome(o)
		month := w.m.arrives(o)
		if month < 0 {
			continue
		}
		w.d.roll(w.m.seed, streamExport, uint64(o.number)|1<<54)
		w.sum.OutcomeRecords++
		w.countReadings(o)
		times := 1
		if w.d.chance(0.004) {
			times = 2
			w.sum.DuplicateOutcomeRows++
		}
		broken, which := w.d.chance(0.004), w.d.below(numBrokenOutcomes)
		orphan := w.d.chance(0.003)
		shown := *o
		if again := w.sentAgain(o, month); again >= 0 {
			w.outcomeRow(e, o, o.number, false)
			if err := w.putOutcome(o, again); err != nil {
				return err
			}
			shown.level = LevelNone
		}
		for range times {
			w.outcomeRow(e, &shown, o.number, false)
			if err := w.putOutcome(o, month); err != nil {
				return err
			}
		}
		if broken {
			if err := w.brokenOutcome(e, o, month, which); err != nil {
				return err
			}
		}
		if orphan {
			w.sum.OrphanOutcomes++
			w.sum.OutcomeRecords++
			w.countReadings(o)
			w.outcomeRow(e, o, o.number+8, true)
			if err := w.putOutcome(o, month); err != nil {
				return err
			}
		}
	}
	return nil
}

// sentAgain returns the later month in whose file a few visits are sent again,
// with the level that was still open the first time; -1 for the others.
func (w *writer) sentAgain(o *outcome, month int) int {
	open := w.d.chance(0.01)
	if !open || o.feed == feedLine || o.blank || o.level == LevelNone || month+1 >= len(w.m.cal.months) ||
		o.feed == brillowfen && month+1 == w.m.cal.lostMonth() {
		return -1
	}
	w.sum.CorrectedOutcomes++
	return month + 1
}

func (w *writer) countReadings(o *outcome) {
	if !o.exam || o.call == 0 {
		return
	}
	for _, v := range o.vetChecks {
		if v >= 0 {
			w.sum.VetReadings++
		}
	}
}

func (w *writer) putOutcome(o *outcome, month int) error {
	w.sum.OutcomeRows++
	w.sum.OutcomeRowsByFeed[o.feed]++
	return w.put(outcomesFile+o.feed, month)
}

// outcomeRow builds one row; an orphan names a call and an animal that the
// line never saw.
func (w *writer) outcomeRow(e *episode, o *outcome, number int64, orphan bool) {
	r := &w.r
	r.reset()
	r.sep, r.comma = ',', false
	defer func() { r.sep, r.comma = ';', true }()
	r.key('O', number)
	w.linkCells(e, o, orphan)
	r.text(FeedIDs[o.feed])
	if o.feed == feedLine {
		r.text("owner")
	} else {
		r.text("vet")
	}
	r.text(routeWords[o.route])
	w.iso(o.seen)
	w.iso(o.noted)
	w.findingCells(e, o)
	r.decimal(float64(o.match)/100, 2)
	r.text(yesNoWords[o.begun])
	if o.p > 0 {
		r.decimal(o.p, 3)
	} else {
		r.text("")
	}
	r.text(yesNoWords[o.reached])
	r.text(staysWords[o.stay])
	w.examCells(o)
	r.end()
}

func (w *writer) linkCells(e *episode, o *outcome, orphan bool) {
	r := &w.r
	switch {
	case orphan:
		r.key('X', o.number)
		r.whole(1)
		r.key('X', o.number)
		return
	case o.call == 0:
		r.text("")
		r.text("")
	default:
		r.key('C', o.call)
		r.whole(int64(e.line))
	}
	r.key('A', int64(e.pet.id)+500000)
}

func (w *writer) findingCells(e *episode, o *outcome) {
	r := &w.r
	if o.blank {
		r.text("")
		r.text("")
		r.text("")
	} else {
		r.text(vetLevel[o.level])
		r.text(resultWords[o.result])
		switch {
		case o.result == didNotAttend || o.result == lost:
			r.text("")
		case o.critical:
			r.text("y")
		default:
			r.text("n")
		}
	}
	if o.result == didNotAttend || o.result == lost {
		r.text("")
	} else {
		r.text(diagnosisOf[e.condition])
	}
	r.text(putDownWords[o.why])
	r.text(yesNoWords[o.knew])
}

func (w *writer) examCells(o *outcome) {
	r := &w.r
	for i, f := range vetFindings {
		switch {
		case !o.exam || o.vetChecks[i] < 0:
			r.text("")
		case findingTable[f].codes != nil:
			r.text(findingTable[f].words[int(o.vetChecks[i])])
		default:
			r.decimal(o.vetChecks[i], 1)
		}
	}
}

func (w *writer) iso(unix int64) {
	w.r.isoTime(unix, w.m.cal.zone.local(unix)-unix)
}

// deliveryLogDay is the day of the next month on which the delivery log is
// made; a file that came later stands in a later log.
const deliveryLogDay = 9

// deliveries writes the delivery log: one file a month, one row a delivery of
// outcomes since the log before.
func (w *writer) deliveries() error {
	cal := w.m.cal
	made := int64(0)
	for month := range cal.months {
		before := made
		made = cal.zone.local(cal.starts[month+1])/86400 + deliveryLogDay
		name := w.s.named("deliveries", month, made)
		out := []byte("feed,from,to,delivered,rows\n")
		for of := range cal.months {
			for feed := range numFeeds {
				day := w.s.exported(outcomesFile+feed, of)
				if rows, ok := w.s.rows[w.s.name(outcomesFile+feed, of)]; ok && day > before && day <= made {
					out = append(out, w.delivery(feed, of, day, rows)...)
					w.sum.DeliveryRows++
				}
			}
		}
		if err := w.s.whole(name, out); err != nil {
			return err
		}
	}
	return nil
}

// delivery builds the row of one delivery.
func (w *writer) delivery(feed, month int, day, rows int64) []byte {
	cal, r := w.m.cal, &w.r
	r.reset()
	r.sep, r.comma = ',', false
	r.text(FeedIDs[feed])
	r.isoDay(cal.zone.local(cal.starts[month]) / 86400)
	r.isoDay(cal.zone.local(cal.starts[month+1])/86400 - 1)
	noon := day*86400 + 12*hour
	offset := cal.zone.local(noon) - noon
	r.isoTime(noon-offset, offset)
	r.whole(rows)
	return r.end()
}
