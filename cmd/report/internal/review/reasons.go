package review

import (
	"fmt"
	"slices"
	"strconv"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/rules"
)

// ReasonCount counts the cases of one reason.
type ReasonCount struct {
	Reason string `json:"reason"`
	Label  string `json:"label"`
	// Definition says when a case has it, Mend what such cases ask to be mended.
	Definition string `json:"definition"`
	Mend       string `json:"mend"`
	InMonth    int64  `json:"in_month"`
	InPeriod   int64  `json:"in_period"`
}

// reasons are tried in this order; a case has the first that applies. Their
// words are codes.ReviewReasons, in the same order. "At the level" means: that
// demands the level which was needed, or more.
var reasons = []ReasonCount{
	{"not_followed", "advice not followed", "The owner had been told to have the animal seen, and it is on record that it did not go; or it had been advised the same day " +
		"and was seen more than " + strconv.Itoa(sameDayHours) + " hours later. Not a miss of the advice alone.", "the owner's way to a vet: cost, distance, appointments", 0, 0},
	{"no_flag", "no flag covers it", "The rules did not demand the level, and no flag at the level could have been met: those meant for this animal whose checks were put, or are " +
		"put in at least half of the calls of that species and reason, were all clearly ruled out at the call, were not just short, and were not met at a later contact or exam.", "rules", 0, 0},
	{"not_asked", "questions stopped or not asked", "The rules did not demand the level, and a flag at the level, among those that the line usually asks for, stayed open because a check was not asked or the " +
		"questions had been stopped.", "questions and their order", 0, 0},
	{"not_possible", "check not possible", "As before, but the open check was tried and not possible, or was declined or unsafe.", "training: how a check is explained, or another check in its place", 0, 0},
	{"just_short", "threshold just short", "The rules did not demand the level, and a flag at the level missed it by one number alone, by no more than the dictionary calls near.", "rules: the threshold", 0, 0},
	{"below_rule", "advisor below the rule", "The rules in force, or those of the day, demanded the level, and lower advice was given.", "training, or a rule that advisors do not believe", 0, 0},
	{"sign_differed", "sign differed at an exam within " + strconv.Itoa(comparableHours) + " hours", "The owner's answer ruled a flag at the level out; the vet's own reading within " + strconv.Itoa(comparableHours) +
		" hours of the call and before treatment meets it.", "training: how the owner is guided to look", 0, 0},
	{"later_change", "later change", "A flag at the level that had been ruled out was met at a later contact or a later exam, which cannot tell a change from a misreading.", "advice on when to ring again", 0, 0},
	{"undetermined", "undetermined", "None of these applies: an answer could not be read, the animal was not described, there are no rules, or the record says too little.", "records", 0, 0},
}

// sameDayHours is how long after a contact an animal advised the same day is
// still seen as advised.
const sameDayHours = 24

// newReasonCounts are all reasons with nothing counted.
func newReasonCounts() reasonCounts { return slices.Clone(reasons) }

type reasonCounts []ReasonCount

func (c reasonCounts) add(reason string, inMonth bool) {
	for i := range c {
		if c[i].Reason == reason {
			c[i].InPeriod++
			if inMonth {
				c[i].InMonth++
			}
		}
	}
}

func reasonLabel(reason string) string {
	for _, x := range reasons {
		if x.Reason == reason {
			return x.Label
		}
	}
	return reason
}

// reason gives the first reason that applies, and what it rests on.
func (e *evidence) reason() (string, []string) {
	if because := e.notFollowed(); because != nil {
		return "not_followed", because
	}
	demanded := e.demandedLevel() >= e.needed
	if !demanded {
		if reason, because := e.notDemanded(); reason != "" {
			return reason, because
		}
	}
	if demanded {
		return "below_rule", e.demandedBy()
	}
	if because := e.metLater(true); because != nil {
		return "sign_differed", because
	}
	if because := e.metLater(false); because != nil {
		return "later_change", because
	}
	return "undetermined", e.leftOpen()
}

// notFollowed needs a record that the animal was to be seen and was not, or
// late.
func (e *evidence) notFollowed() []string {
	a := e.animal
	if a.Attended == 0 && max(a.Level, a.LaterLevel) >= soon {
		return []string{"on record as not attending"}
	}
	if int(a.Level) == sameDay && a.Attended == 1 && a.OutcomeHours != nil && *a.OutcomeHours > sameDayHours {
		return []string{"advised the same day, seen " + strconv.FormatFloat(*a.OutcomeHours, 'f', 0, 64) + " hours later"}
	}
	return nil
}

// notDemanded tries the reasons for which the rules were silent.
func (e *evidence) notDemanded() (string, []string) {
	if e.s.program == nil || len(e.s.program.Set.Flags) == 0 {
		return "", nil
	}
	var notAsked, notPossible, justShort, other []string
	for _, i := range e.demanding(e.needed) {
		x := e.s.program.Explain(i, &e.record)
		if e.s.program.JustShort(x) {
			justShort = append(justShort, e.title(i)+": "+e.missing(x))
		}
		if x.Result != codes.Unknown || !e.covers(x) {
			continue
		}
		put, tried := e.sortOpen(i, x)
		switch {
		case put != nil:
			notAsked = append(notAsked, put...)
		case tried != nil:
			notPossible = append(notPossible, tried...)
		default:
			other = append(other, e.title(i))
		}
	}
	switch {
	case len(notAsked)+len(notPossible)+len(justShort)+len(other) == 0 && e.metLater(true) == nil && e.metLater(false) == nil:
		return "no_flag", []string{}
	case notAsked != nil:
		return "not_asked", notAsked
	case notPossible != nil:
		return "not_possible", notPossible
	case justShort != nil:
		return "just_short", justShort
	}
	return "", nil
}

// sortOpen splits the open conditions of an unknown flag into those that were
// not put and those that were tried.
func (e *evidence) sortOpen(flag int, x rules.Explained) (notPut, tried []string) {
	for _, c := range open(x) {
		text := fmt.Sprintf("%s: %s %s", e.title(flag), e.findingTitle(c.Finding), e.state(c))
		switch c.Value {
		case codes.NotAsked, codes.StoppedEarly:
			notPut = append(notPut, text)
		case codes.NotPossible, codes.Declined:
			tried = append(tried, text)
		}
	}
	return notPut, tried
}

// demandedBy names the flags that fired at the needed level.
func (e *evidence) demandedBy() []string {
	out := []string{}
	for _, i := range e.demanding(e.needed) {
		if e.s.program.Explain(i, &e.record).Result == codes.Yes {
			out = append(out, e.title(i))
		}
	}
	if len(out) == 0 {
		out = append(out, "the rules counted an open question, or those of the day said so")
	}
	return out
}

// metLater names flags that the owner's answers ruled out and a later look
// meets; same asks for looks at the same sign only, else for the others.
func (e *evidence) metLater(same bool) []string {
	var out []string
	for _, l := range e.looks {
		if l.same != same {
			continue
		}
		for _, i := range e.demanding(e.needed) {
			if e.s.program.Flag(i, &e.record) == codes.No && e.s.program.Flag(i, &l.record) == codes.Yes {
				out = append(out, fmt.Sprintf("%s, %s hours after the call", e.title(i), strconv.FormatFloat(l.at.Sub(e.animal.StartedAt).Hours(), 'f', 1, 64)))
			}
		}
	}
	return out
}

// leftOpen says what is missing of an undetermined case.
func (e *evidence) leftOpen() []string {
	if e.s.program == nil || len(e.s.program.Set.Flags) == 0 {
		return []string{"no rules are in force"}
	}
	out := []string{}
	for _, i := range e.demanding(e.needed) {
		x := e.s.program.Explain(i, &e.record)
		if x.Result == codes.Unknown && e.covers(x) {
			out = append(out, e.title(i)+": could not be decided")
		}
	}
	return out
}
