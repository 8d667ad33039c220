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
		times := 1
		if w.d.chance(0.004) {
			times = 2
			w.sum.DuplicateOutcomeRows++
		}
		broken, which := w.d.chance(0.004), w.d.below(numBrokenOutcomes)
		orphan := w.d.chance(0.003)
		for range times {
			w.outcomeRow(e, o, o.number, false)
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
			w.outcomeRow(e, o, o.number+8, true)
			if err := w.putOutcome(o, month); err != nil {
				return err
			}
		}
	}
	return nil
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

// deliveries writes the delivery log: one file a month, one row a feed that
// delivered.
func (w *writer) deliveries() error {
	cal := w.m.cal
	for month := range cal.months {
		name := w.s.name(callsFile, month)
		name = "deliveries" + name[len("calls"):]
		f, err := w.s.create(name)
		if err != nil {
			return err
		}
		w.r.sep, w.r.comma = ',', false
		out := []byte("feed,from,to,delivered,rows\n")
		for feed := range numFeeds {
			kind := outcomesFile + feed
			rows, ok := w.s.rows[w.s.name(kind, month)]
			if !ok {
				continue
			}
			w.r.reset()
			w.r.text(FeedIDs[feed])
			w.r.isoDay(cal.zone.local(cal.starts[month]) / 86400)
			w.r.isoDay(cal.zone.local(cal.starts[month+1])/86400 - 1)
			day := w.s.exported(kind, month)
			noon := day*86400 + 12*hour
			w.r.isoTime(noon-(cal.zone.local(noon)-noon), cal.zone.local(noon)-noon)
			w.r.whole(rows)
			out = append(out, w.r.end()...)
			w.sum.DeliveryRows++
		}
		if _, err = f.Write(out); err != nil {
			return err
		}
		if err = f.Close(); err != nil {
			return err
		}
		w.s.names = append(w.s.names, name)
		w.sum.Files++
	}
	return nil
}
