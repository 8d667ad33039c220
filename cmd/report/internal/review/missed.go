package review

import (
	"slices"
	"time"

	"hindcheck/queries"
)

// Missed lists episodes that needed more urgent care than was first advised,
// at either cut. It is a list for discussion: it holds known cases only.
type Missed struct {
	// InMonth are those of the month under review, worst first, at most listed
	// many; MoreInMonth is how many there are beside them. InPeriod counts the period.
	InMonth     []Case `json:"in_month"`
	MoreInMonth int64  `json:"more_in_month,omitzero"`
	InPeriod    int64  `json:"in_period"`
	// Earlier are those of the period before the month, worst first, at most
	// listed many.
	Earlier []Case `json:"earlier"`
	// Reasons count the cases by the one reason that each was given.
	Reasons []ReasonCount `json:"reasons"`
}

// Month is how many began in the month under review.
func (m Missed) Month() int64 { return int64(len(m.InMonth)) + m.MoreInMonth }

// listed bounds the lists of cases on a page; the queries give all of them.
const listed = 50

// Case is one episode to discuss. All identifiers are pseudonyms.
type Case struct {
	Episode   string    `json:"episode"`
	Call      string    `json:"call"`
	StartedAt time.Time `json:"started_at"`
	Site      string    `json:"site"`
	Species   string    `json:"species"`
	Complaint string    `json:"complaint"`
	// Advised, Rules, Later and Seen are level labels; Later is empty if no
	// later contact advised anything.
	Advised string `json:"advised"`
	Rules   string `json:"rules"`
	Later   string `json:"later"`
	Seen    string `json:"seen"`
	// Needed is emergency or same day.
	Needed string `json:"needed"`
	// Route says how it became known.
	Route       string `json:"route"`
	Disposition string `json:"disposition"`
	Died        bool   `json:"died"`
	// OutcomeHours from the first contact, if known.
	OutcomeHours *float64 `json:"outcome_hours,omitempty"`
	// HoursLost from the first contact until a vet first saw the animal, if
	// one did and wrote it down.
	HoursLost *float64 `json:"hours_lost,omitempty"`
	// Independent says whether the outcome was judged without knowing the
	// telephone findings: yes, no or unknown.
	Independent string `json:"independent"`
	// Flags that fired.
	Flags []string `json:"flags"`
	// Reason is the first that applies of those in Reasons; Because says what
	// it rests on.
	Reason  string   `json:"reason"`
	Label   string   `json:"reason_label"`
	Because []string `json:"because"`
	// Animal describes it in words: age, sex and breed group.
	Animal string `json:"animal"`
	// Timeline is what happened, in the order of time.
	Timeline []Step `json:"timeline"`
	// Nearly are flags above the advice that came close.
	Nearly []NearFlag `json:"nearly_fired"`
	// Judgements are those of reviewers, and Contested is whether the advisor
	// asks for another look.
	Judgements []Judgement `json:"judgements"`
	Contested  bool        `json:"contested"`
}

func (b *builder) fillMissed(r *Review) error {
	all, err := b.missedRows()
	if err != nil {
		return err
	}
	r.Missed = Missed{InMonth: []Case{}, Earlier: []Case{}, InPeriod: int64(len(all))}
	told := map[string]*Case{}
	inMonth, earlier := 0, 0
	for _, x := range all {
		n := &earlier
		if x.Month == b.scope.To {
			n = &inMonth
		}
		if *n++; *n <= listed {
			told[x.Episode] = &Case{}
		}
	}
	r.Missed.MoreInMonth = int64(max(0, inMonth-listed))
	if r.Missed.Reasons, err = b.readMissed(all, told); err != nil {
		return err
	}
	for _, x := range all {
		switch c := told[x.Episode]; {
		case c == nil:
		case x.Month == b.scope.To:
			r.Missed.InMonth = append(r.Missed.InMonth, *c)
		default:
			r.Missed.Earlier = append(r.Missed.Earlier, *c)
		}
	}
	return nil
}

// readMissed counts the reasons of all cases and fills in those that are told,
// a month at a time: the records of the others are of no further use, and a long
// line has a hundred thousand.
func (b *builder) readMissed(all []queries.MissedCasesRow, told map[string]*Case) (reasonCounts, error) {
	counts := newReasonCounts()
	episodes := make([]string, len(all))
	for i, x := range all {
		episodes[i] = x.Episode
	}
	if err := b.db.KeepChecks(b.ctx, b.scope, episodes); err != nil {
		return nil, err
	}
	for month := b.scope.From; month <= b.scope.To; month = queries.AddMonths(month, 1) {
		var rows []queries.MissedCasesRow
		var episodes []string
		for _, x := range all {
			if x.Month == month {
				rows, episodes = append(rows, x), append(episodes, x.Episode)
			}
		}
		stories, err := b.stories(episodes, queries.Scope{From: month, To: month})
		if err != nil {
			return nil, err
		}
		for _, x := range rows {
			if c := told[x.Episode]; c != nil {
				*c = b.missedCase(x)
				stories.tell(c, neededLevel(x))
			}
			reason, _ := stories.evidence(x.Episode, neededLevel(x)).reason()
			counts.add(reason, month == b.scope.To)
		}
	}
	return counts, nil
}

// missedRows are the known cases of the period, the worst first. The deadliest
// error is needed now and told today, so the emergency cut adds to the same-day
// one.
func (b *builder) missedRows() ([]queries.MissedCasesRow, error) {
	seen := map[string]bool{}
	var all []queries.MissedCasesRow
	for _, cut := range bothCuts {
		rows, err := b.db.MissedCases(b.ctx, b.scope, cut)
		if err != nil {
			return nil, err
		}
		for _, x := range rows {
			if !seen[x.Episode] {
				seen[x.Episode] = true
				all = append(all, x)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b queries.MissedCasesRow) int { return worse(b) - worse(a) })
	return all, nil
}

// neededLevel is the level at which a missed animal needed care.
func neededLevel(x queries.MissedCasesRow) int {
	if x.NeedEmergency == 1 {
		return emergency
	}
	return sameDay
}

// worse orders cases for reading: death, then the distance between what was
// needed and what was advised.
func worse(x queries.MissedCasesRow) int {
	n := neededLevel(x) - int(x.Level)
	if x.Died {
		n += 10
	}
	return n
}

func (b *builder) missedCase(x queries.MissedCasesRow) Case {
	c := Case{
		Episode: x.Episode, Call: x.Call, StartedAt: x.StartedAt.UTC(), Site: x.Site, Species: x.Species, Complaint: x.Complaint,
		Advised: word(levelLabels, x.Level), Rules: word(ruleLabels, x.RuleLevel), Needed: levelLabels[neededLevel(x)],
		Route: word(routeLabels, x.Route), Disposition: x.Disposition, Died: x.Died, OutcomeHours: x.OutcomeHours,
		Independent: map[int8]string{1: "yes", 0: "no"}[x.Independent], Flags: []string{},
	}
	if c.Independent == "" {
		c.Independent = "unknown"
	}
	if x.LaterLevel > 0 {
		c.Later = word(levelLabels, x.LaterLevel)
	}
	if x.VetLevel > 0 {
		c.Seen = word(levelLabels, x.VetLevel)
	}
	for _, i := range x.Fired {
		if i < len(b.db.Meta().Flags) {
			c.Flags = append(c.Flags, b.db.Meta().Flags[i].ID)
		}
	}
	return c
}
