package rules

import (
	"fmt"
	"time"
)

// soonDays is how long before its last day a set should be looked at: a review,
// a decision and a new version take a quarter of a year in practice.
const soonDays = 90

// CheckDates says whether a set is in force on a day, and whether somebody has
// to look at it again before long.
func CheckDates(s *Set, day time.Time) []Notice {
	one := func(kind NoticeKind, sev Severity, key, format string, args ...any) []Notice {
		return []Notice{{Kind: kind, Severity: sev, Pos: s.HeadPos[key], Text: fmt.Sprintf(format, args...), Remedy: remedies[kind]}}
	}
	day = time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, time.UTC)
	write := func(t time.Time) string { return t.Format(time.DateOnly) }
	switch {
	case day.Before(s.Effective):
		return one(OutOfForce, Note, "effective", "not in force on %s, only from %s", write(day), write(s.Effective))
	case s.Expires.IsZero():
		return one(NoExpiry, Note, "effective", "no last day in force")
	case !s.InForce(day):
		return one(OutOfForce, Doubtful, "expires", "no longer in force on %s; the last day was %s", write(day), write(s.Expires))
	}
	if left := int(s.Expires.Sub(day).Hours() / 24); left < soonDays {
		return one(ExpiresSoon, Note, "expires", "in force for %d more days, to %s", left, write(s.Expires))
	}
	return nil
}
