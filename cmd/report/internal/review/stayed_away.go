package review

import (
	"cmp"
	"slices"
	"strings"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// StayedAway are animals that were told to attend and did not go. The advice
// was right or too cautious; that it was not followed is no miss of it.
type StayedAway struct {
	InMonth  int64 `json:"in_month"`
	InPeriod int64 `json:"in_period"`
	// Reasons in the order in which they are most frequent over the period.
	Reasons []StayedReason `json:"reasons"`
	// Levels say of how many it is known whether they went.
	Levels []Attendance `json:"levels"`
}

// StayedReason counts the animals of one level that stayed away for one reason.
type StayedReason struct {
	Level string `json:"level"`
	// Reason is coded; empty if none was stated.
	Reason   string `json:"reason"`
	InMonth  int64  `json:"in_month"`
	InPeriod int64  `json:"in_period"`
	// Needed, NotNeeded and Unknown split the period by what became known of
	// the need for care on the same day.
	Needed    int64 `json:"needed"`
	NotNeeded int64 `json:"not_needed"`
	Unknown   int64 `json:"unknown"`
}

// Attendance is one advised level over the period.
type Attendance struct {
	Level      string `json:"level"`
	Went       int64  `json:"went"`
	StayedAway int64  `json:"stayed_away"`
	Unknown    int64  `json:"unknown"`
	// Share stayed away among those of which it is known. Who went is noted more
	// reliably than who did not, so the share is rather too low.
	Share Figure `json:"share"`
}

func (b *builder) fillStayedAway(r *Review) error {
	rows, err := b.db.NotAttended(b.ctx, b.scope)
	if err != nil {
		return err
	}
	r.StayedAway = StayedAway{Reasons: []StayedReason{}, Levels: []Attendance{}}
	place := map[[2]string]int{}
	for _, x := range rows {
		key := [2]string{word(levelLabels, x.Level), x.Reason}
		i, ok := place[key]
		if !ok {
			i = len(r.StayedAway.Reasons)
			place[key] = i
			r.StayedAway.Reasons = append(r.StayedAway.Reasons, StayedReason{Level: key[0], Reason: key[1]})
		}
		r.StayedAway.Reasons[i].add(x, b.scope.To)
		r.StayedAway.InPeriod += x.N
		if x.Month == b.scope.To {
			r.StayedAway.InMonth += x.N
		}
	}
	sortStayed(r.StayedAway.Reasons)
	levels, err := b.db.Attendance(b.ctx, b.scope)
	if err != nil {
		return err
	}
	for _, x := range levels {
		e, err := metrics.Wilson(x.StayedAway, x.StayedAway+x.Went, b.opt.Confidence)
		if err != nil {
			return err
		}
		r.StayedAway.Levels = append(r.StayedAway.Levels, Attendance{word(levelLabels, x.Level), x.Went, x.StayedAway, x.Unknown, figure(e)})
	}
	return nil
}

func (s *StayedReason) add(x queries.NotAttendedRow, month int) {
	s.InPeriod += x.N
	if x.Month == month {
		s.InMonth += x.N
	}
	switch x.NeedSameDay {
	case 1:
		s.Needed += x.N
	case 0:
		s.NotNeeded += x.N
	default:
		s.Unknown += x.N
	}
}

// sortStayed puts emergencies first, then frequent reasons.
func sortStayed(list []StayedReason) {
	slices.SortStableFunc(list, func(a, b StayedReason) int {
		return cmp.Or(strings.Compare(a.Level, b.Level), cmp.Compare(b.InPeriod, a.InPeriod), strings.Compare(a.Reason, b.Reason))
	})
}
