// Package codes holds the closed code lists that every stage of the pipeline
// shares: the words as they are stored, and nothing else.
//
// A word that is not on its list never enters the store: the reader sets the
// row aside. Species is the one open list, because a site may keep other
// animals; SpeciesLegal says what is accepted. The words of home checks
// (gum_colour and the like) are not here but in package findings, since a site
// can extend them.
//
// Start reading at the lists below, then Level.
package codes

import (
	"slices"
	"strings"
)

// List is one closed list of stored words, in a fixed order.
type List struct {
	name  string
	words []string
}

func list(name, words string) List { return List{name, strings.Fields(words)} }

// Name returns what the list is called, for messages ("disposition").
func (l List) Name() string { return l.name }

// Words returns a copy of the words in their order.
func (l List) Words() []string { return slices.Clone(l.words) }

// Has reports whether word is on the list.
func (l List) Has(word string) bool { return slices.Contains(l.words, word) }

// Index returns the place of word on the list, counted from 0, or -1.
func (l List) Index(word string) int { return slices.Index(l.words, word) }

// String returns the words as a message shows them: "a, b, c".
func (l List) String() string { return strings.Join(l.words, ", ") }

// The lists. Comments give only what the words do not say themselves.
var (
	// Levels, most urgent first. See Level for their numbers.
	Levels = list("level", "emergency same_day soon home_care")

	// ContactTypes: only clinical contacts are judged; the others are kept so
	// that the flow diagram can count them.
	ContactTypes = list("contact_type", "clinical test abandoned not_clinical dead_before_call third_party")
	// ContactKinds of a contact within its episode.
	ContactKinds = list("contact_kind", "first call_back re_contact")

	// Species that every installation knows; see SpeciesLegal.
	Species = list("species", "dog cat rabbit horse other")
	// Sexes of animals; unknown is an answer, a blank is a missing one.
	Sexes = list("sex", "male female unknown")
	// Neutered states.
	Neutered = list("neutered", "yes no unknown")

	// States of a home check. Only a done check has a reading.
	States = list("state", "done not_possible declined not_asked")
	// Reasons why a check was not done.
	Reasons = list("reason", "stopped_early skip_logic resisted unsafe dark owner_unsure no_equipment other")
	// Handling of the animal during a check.
	Handling = list("handling", "free held wrapped refused")
	// Observers of a check.
	Observers = list("observer", "owner advisor_video vet")
	// Settings in which a check was made. Thresholds never mix settings.
	Settings = list("setting", "home car clinic")
	// AnimalStates at the time of a check.
	AnimalStates = list("animal_state", "asleep at_rest excited")
	// PersonHurt by the animal.
	PersonHurt = list("person_hurt", "none scratched bitten")
	// FormalComplaints of an owner about a call, as the line's register has
	// them; none is an answer, a blank is a register that was not asked.
	FormalComplaints = list("formal_complaint", "none advice conduct other")

	// Sources of an outcome, in the order of their numbers in `cases` (from 1).
	// A panel judges a case afterwards; an advisor contests how one of hers was
	// judged, which changes no figure and asks for a second look.
	Sources = list("source", "vet owner_follow_up panel advisor")
	// Routes by which an outcome came to be known, in the order of their
	// numbers in `cases` (from 1). A case review is none by which need became
	// known, so `cases` never holds its number.
	Routes = list("route", "advised_visit own_decision call_back audit case_review")
	// Dispositions of an animal after it was seen, or why it was not.
	Dispositions = list("disposition", "sent_home treated_sent_home admitted operated referred died euthanised dead_on_arrival did_not_attend lost")
	// EuthanasiaReasons: euthanasia is not only severity, so the reason is kept.
	EuthanasiaReasons = list("euthanasia_reason", "prognosis welfare cost mixed planned behaviour unknown")
	// Independent says whether the outcome was judged without knowing the
	// telephone finding.
	Independent = list("independent", "yes no unknown")
	// NoAttendReasons of an animal that was sent and did not go.
	NoAttendReasons = list("no_attend_reason", "cost distance declined no_appointment other")

	// Judged is a reviewer's answer: could the need be foreseen at the call,
	// could the harm be avoided.
	Judged = list("judged", "yes no unsure")
	// ReviewReasons say why an animal in need was first advised later, in the
	// order in which a machine or a reviewer tries them.
	ReviewReasons = list("review_reason", "not_followed no_flag not_asked not_possible just_short below_rule sign_differed later_change undetermined")
)

// maxID is the longest legal identifier; with the prefix "f_" and a few more
// letters it still fits the column name limit of common databases (63).
const maxID = 48

// ValidID reports whether s can name a finding, code, flag, ruleset or
// species: 1 to 48 of a-z, 0-9 and underscore. Such a word is safe as part of
// a column or file name.
func ValidID(s string) bool {
	if s == "" || len(s) > maxID {
		return false
	}
	for i := range len(s) {
		c := s[i]
		if !(c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '_') {
			return false
		}
	}
	return true
}

// SpeciesLegal reports whether word may be stored as a species: one of
// Species, or any other identifier that a site uses.
func SpeciesLegal(word string) bool { return ValidID(word) }

// clip shortens a word for a message; words in messages come from mappings,
// never from cells.
func clip(s string) string {
	if len(s) > 40 {
		return s[:40] + "..."
	}
	return s
}
