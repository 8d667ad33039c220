package demo

import (
	"context"
	"io"
)

// Summary counts what Generate wrote and planted. Rows are rows of the files
// without their headers, broken rows included.
type Summary struct {
	// Files is the number of files, Names lists them in the order written.
	Files int
	Names []string
	// Months is the number of export months.
	Months int

	// Units is the number of incoming calls, Episodes the number of illnesses
	// behind the clinical ones, Contacts their call records with an advice
	// (the reception's records of transfers not counted).
	Units, Episodes, Contacts int64

	CallRows, CheckRows, OutcomeRows, DeliveryRows int64
	// OutcomeRowsByFeed is in the order of FeedIDs.
	OutcomeRowsByFeed [numFeeds]int64
	// RowsByFile has the rows of every calls, checks and outcomes file.
	RowsByFile map[string]int64

	// CallRecords, CheckRecords and OutcomeRecords are the records that a store
	// holds once every file is loaded: each key once, broken and orphan checks
	// left out, orphan outcomes counted.
	CallRecords, CheckRecords, OutcomeRecords int64
	// VetReadings are the vets' own readings in outcomes that name a call.
	VetReadings int64

	// Units that are not about an animal to be advised on.
	TestCalls, AbandonedCalls, NotClinicalCalls, DeadBeforeCalls, ThirdPartyCalls int64
	// Transfers have two numbers under one contact; SeveralAnimals are calls
	// with more than one line.
	Transfers, SeveralAnimals int64
	// CallBacks and ReContacts are later contacts of an episode.
	CallBacks, ReContacts int64

	// Exact repeats within one file.
	DuplicateCallRows, DuplicateCheckRows, DuplicateOutcomeRows int64
	// OverlapCallRows are calls that the next month's file shows again,
	// EditedCalls those among them that were different the first time.
	// ReopenedCalls are shown again, closed now, outside the overlap.
	OverlapCallRows, EditedCalls, ReopenedCalls int64

	// CorrectedOutcomes are sent again in the next month's file, with the level
	// that the first row left open.
	CorrectedOutcomes int64

	// Broken counts rows that a reader must set aside, by kind.
	Broken Broken
	// OrphanChecks name a call that is in no calls file, OrphanOutcomes a call
	// and an animal that are in none.
	OrphanChecks, OrphanOutcomes int64

	// RepeatedHourCalls are call records that began in an hour that the end of
	// daylight saving repeats.
	RepeatedHourCalls int64
	// Checks with a slip of unit, and checks that were not made, of all
	// contacts; each once, however often it is shown.
	FahrenheitChecks, QuarterMinuteChecks int64
	StoppedEarlyChecks, SkippedChecks     int64
	NotPossibleChecks, DeclinedChecks     int64
	// First contacts of episodes: persons hurt, advice above and below the
	// rules' level, and those in which nothing was assessed.
	PersonsScratched, PersonsBitten             int64
	OverridesUp, OverridesDown, NothingAssessed int64

	// Outcomes, whether or not their file arrives.
	Visits, NoShows, FollowUps, FollowUpsNotReached, Audits, AuditsNotReached int64
	OutcomesWithoutCall, OutcomesWithoutFinding, Euthanasias, Deaths          int64
	// OwnersContradicted are follow-ups in which the owner tells of a stay that
	// the practice's record denies.
	OwnersContradicted int64
	// LostOutcomes were in the file that never arrives, PendingOutcomes were
	// written down after the last export.
	LostOutcomes, PendingOutcomes int64

	// The truth, by episode.
	NeedEmergency, NeedSameDay         int64
	MissedEmergency, MissedSameDay     int64
	ToldEmergency, ToldSameDayOrFaster int64
}

// Broken counts rows that a reader must set aside. Each stands beside the good
// rows: no good row is lost by it.
type Broken struct {
	CallUnknownWord, CallBadDate, CallMissingKey, CallSkippedHour, CallCutRow int64
	CheckUnknownWord, CheckBadNumber, CheckOutOfRange, CheckBlankAnswer       int64
	OutcomeUnknownWord, OutcomeBadDate, OutcomeMissingKey                     int64
}

// Calls is the number of broken rows in the calls files.
func (b Broken) Calls() int64 {
	return b.CallUnknownWord + b.CallBadDate + b.CallMissingKey + b.CallSkippedHour + b.CallCutRow
}

// Checks is the number of broken rows in the checks files, orphans not among
// them.
func (b Broken) Checks() int64 {
	return b.CheckUnknownWord + b.CheckBadNumber + b.CheckOutOfRange + b.CheckBlankAnswer
}

// Outcomes is the number of broken rows in the outcomes files.
func (b Broken) Outcomes() int64 {
	return b.OutcomeUnknownWord + b.OutcomeBadDate + b.OutcomeMissingKey
}

// Generate writes the exports of an invented line: calls, checks and outcomes
// by month and the delivery log. The files depend on the options alone; memory
// does not grow with Options.Calls. It returns ErrOptions for impossible
// options, the context's error when cancelled, and errors of writing.
func Generate(ctx context.Context, o Options) (Summary, error) {
	o, err := o.withDefaults()
	if err != nil {
		return Summary{}, err
	}
	var w *writer
	sum := Summary{}
	err = eachUnit(ctx, o, func(m *model, u *unit) error {
		if w == nil {
			s, err := newShelf(o, m.cal)
			if err != nil {
				return err
			}
			w = &writer{m: m, s: s, sum: &sum, d: newDice(), r: row{sep: ';', comma: true, piece: o.Piece}}
		}
		return w.unit(u)
	})
	if w != nil {
		defer w.s.abandon()
	}
	if err != nil {
		return sum, err
	}
	if err := w.s.advance(len(w.m.cal.months)); err != nil {
		return sum, err
	}
	sum.Months = len(w.m.cal.months)
	sum.Broken.CallCutRow = w.s.cut
	sum.CallRows += w.s.cut
	if err := w.deliveries(); err != nil {
		return sum, err
	}
	sum.RowsByFile, sum.Names, sum.Files = w.s.rows, w.s.names, len(w.s.names)
	return sum, nil
}

// count adds one unit to the summary.
func (w *writer) count(u *unit) {
	s := w.sum
	s.Units++
	switch u.kind {
	case unitTest:
		s.TestCalls++
	case unitAbandoned:
		s.AbandonedCalls++
	case unitNotClinical:
		s.NotClinicalCalls++
	case unitDead:
		s.DeadBeforeCalls++
	case unitThirdParty:
		s.ThirdPartyCalls++
	}
	if u.n > 1 {
		s.SeveralAnimals++
	}
	switch {
	case u.n == 0:
		s.CallRecords++
	case u.transfer != 0:
		s.CallRecords++ // the reception's record
	}
	if u.n == 0 && w.m.cal.zone.repeated(u.start) {
		s.RepeatedHourCalls++
	}
	for k := range u.n {
		w.countEpisode(&u.eps[k])
	}
}

func (w *writer) countEpisode(e *episode) {
	s, c := w.sum, e.first()
	s.Episodes++
	s.Contacts += int64(e.nc)
	s.CallRecords += int64(e.nc)
	tally := func(n *int64, is bool) {
		if is {
			*n++
		}
	}
	tally(&s.NeedEmergency, e.need == 3)
	tally(&s.NeedSameDay, e.need >= 2)
	tally(&s.MissedEmergency, e.need == 3 && c.level < Emergency)
	tally(&s.MissedSameDay, e.need >= 2 && c.level < SameDay)
	tally(&s.ToldEmergency, c.level == Emergency)
	tally(&s.ToldSameDayOrFaster, c.level >= SameDay)
	tally(&s.OverridesUp, c.ruleLevel != LevelNone && c.level > c.ruleLevel)
	tally(&s.OverridesDown, c.level < c.ruleLevel)
	tally(&s.NothingAssessed, c.ruleLevel == LevelNone)
	tally(&s.PersonsScratched, c.hurt == 1)
	tally(&s.PersonsBitten, c.hurt == 2)
	for i := range e.contacts[:e.nc] {
		x := &e.contacts[i]
		s.CheckRecords += int64(x.n)
		tally(&s.CallBacks, x.kind == callBack)
		tally(&s.ReContacts, x.kind == reContact)
		tally(&s.RepeatedHourCalls, w.m.cal.zone.repeated(x.start))
		for j := range x.checks[:x.n] {
			k := &x.checks[j]
			tally(&s.FahrenheitChecks, k.slip == slipFahrenheit)
			tally(&s.QuarterMinuteChecks, k.slip == slipQuarterMinute)
			tally(&s.StoppedEarlyChecks, k.reason == stoppedEarly)
			tally(&s.SkippedChecks, k.reason == skipLogic)
			tally(&s.NotPossibleChecks, k.state == notPossible)
			tally(&s.DeclinedChecks, k.state == declined)
		}
	}
}

func (w *writer) countOutcome(o *outcome) {
	s := w.sum
	switch {
	case o.result == didNotAttend:
		s.NoShows++
	case o.route == followUpCall:
		s.FollowUps++
		if o.reached == 2 {
			s.FollowUpsNotReached++
		}
	case o.route == auditCall:
		s.Audits++
		if o.reached == 2 {
			s.AuditsNotReached++
		}
	default:
		s.Visits++
	}
	switch o.result {
	case euthanised:
		s.Euthanasias++
	case died, deadOnArrival:
		s.Deaths++
	}
	if o.call == 0 {
		s.OutcomesWithoutCall++
	}
	if o.contradicts {
		s.OwnersContradicted++
	}
	if o.blank {
		s.OutcomesWithoutFinding++
	}
	if w.m.arrives(o) < 0 {
		if o.noted >= w.m.cal.to.Unix() {
			s.PendingOutcomes++
		} else {
			s.LostOutcomes++
		}
	}
}

// discard is a writer for measuring without a disk.
type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }
func (discard) Close() error                { return nil }

// Discard opens exports that keep nothing, for counting and measuring.
func Discard(string) (io.WriteCloser, error) { return discard{}, nil }
