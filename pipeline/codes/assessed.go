package codes

// Numbers of the not-assessed states in a finding column f_<id> of `cases`.
// A reading is 0 or more, so "assessed" is always the test value >= 0.
// Not assessed is never normal: it is unknown to every rule.
const (
	NotAsked     int32 = -1 // not asked, or no row for the check
	NotPossible  int32 = -2 // tried, could not be done
	Declined     int32 = -3 // declined, or unsafe
	StoppedEarly int32 = -4 // not asked because an emergency sign had ended the questions
)

// NotAssessedNames gives the state word of each negative number, for pages
// and files.
var NotAssessedNames = map[int32]string{
	NotAsked:     "not_asked",
	NotPossible:  "not_possible",
	Declined:     "declined",
	StoppedEarly: "stopped_early",
}

// NotAssessed returns the number of a check that has no reading, from its
// stored state and reason. A done check has a reading and does not belong
// here; it comes back as NotAsked, as does any other word.
func NotAssessed(state, reason string) int32 {
	switch state {
	case "not_possible":
		return NotPossible
	case "declined":
		return Declined
	case "not_asked":
		if reason == "stopped_early" {
			return StoppedEarly
		}
	}
	return NotAsked
}

// Route is how an outcome came to be known, as `cases` stores it.
type Route int8

// The routes; 0 is none. Their words are Routes.
const (
	NoRoute      Route = 0
	AdvisedVisit Route = 1
	OwnDecision  Route = 2
	CallBack     Route = 3
	Audit        Route = 4
	CaseReview   Route = 5 // a judgement afterwards; never in `cases`
)

// String returns the stored word, "" for NoRoute.
func (r Route) String() string { return numbered(Routes, int(r)) }

// Source is who found an outcome, as `cases` stores it.
type Source int8

// The sources; 0 is none. Their words are Sources.
const (
	NoSource      Source = 0
	Vet           Source = 1
	OwnerFollowUp Source = 2
	Panel         Source = 3
	Advisor       Source = 4 // contests a case; tells nothing of the animal
)

// String returns the stored word, "" for NoSource.
func (s Source) String() string { return numbered(Sources, int(s)) }

// numbered returns the word at a number counted from 1, "" outside the list.
func numbered(l List, n int) string {
	if n < 1 || n > len(l.words) {
		return ""
	}
	return l.words[n-1]
}

// ParseRoute returns the number of a route's word, NoRoute if there is none.
func ParseRoute(word string) Route { return Route(Routes.Index(word) + 1) }

// ParseSource returns the number of a source's word, NoSource if there is none.
func ParseSource(word string) Source { return Source(Sources.Index(word) + 1) }

// Tri is a three-valued answer as `cases` stores it.
type Tri int8

// The answers. Unknown is never to be read as No.
const (
	Yes     Tri = 1
	No      Tri = 0
	Unknown Tri = -1
)

// String returns yes, no or unknown.
func (t Tri) String() string {
	switch t {
	case Yes:
		return "yes"
	case No:
		return "no"
	}
	return "unknown"
}

// TriOf returns Yes for true and No for false.
func TriOf(b bool) Tri {
	if b {
		return Yes
	}
	return No
}
