// Package criteria reads the two files by which a proposed change of rules is
// judged: the criteria that a line has fixed beforehand, and the appointments
// that its sites have.
//
// Criteria are fixed in a file before the replay is read, because a margin
// chosen afterwards is a conclusion. What changes afterwards is the list of
// reviewed cases alone: each animal in need that a proposal would newly miss has
// to be looked at by a named reviewer before a gate opens. Hash therefore leaves
// that list out. Judging is the job of cmd/report; this package only reads.
//
// Start reading at Criteria.
package criteria

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"time"

	"hindcheck/pipeline/codes"
)

// The ways in which rules are judged.
const (
	// RulesFollowed takes the level that the rules demand for the advice.
	RulesFollowed = "rules_followed"
	// RaisesKept keeps the advice where the advisor went above the rules.
	RaisesKept = "raises_kept"
)

// Properties are the properties by which subgroups can be judged.
var Properties = []string{"species", "age", "site"}

// Criteria is one file.
type Criteria struct {
	File string `json:"-"`
	// ID, Title, Owner and Reason say what they are for and who fixed them.
	ID, Title, Owner, Reason string
	// FixedOn is the day on which they were fixed.
	FixedOn time.Time
	// Ruleset is the proposal that they are for, empty for any; RulesHash is its
	// SHA-256 on that day (rules.Set.Hash), empty if not written down.
	Ruleset, RulesHash string
	// Judged is RulesFollowed or RaisesKept.
	Judged string
	// Confidence of all limits that are judged, in (0.5, 1).
	Confidence float64
	Evidence   Evidence
	// Accuracy by cut, SameDay or Emergency.
	Accuracy  map[codes.Level]Accuracy
	Subgroups Subgroups
	Workload  Workload
	// Reviewed are the newly missed cases that somebody has answered for.
	Reviewed []Reviewed `json:"-"`
}

// Evidence is the least that must be known before anything is judged; 0 asks
// nothing.
type Evidence struct {
	// Months with mature episodes, and mature episodes with an advice.
	Months, Calls int
	// InNeed are animals known to have been in need at each cut, Changed calls
	// with a known need that the proposal moves across it.
	InNeed, Changed map[codes.Level]int
}

// Accuracy are the criteria at one cut; a nil one is not asked.
type Accuracy struct {
	// SensitivityFloor is what the lower limit of the corrected sensitivity of
	// the proposal must reach, in (0, 1).
	SensitivityFloor *float64
	// SensitivityLoss and SpecificityLoss are the greatest losses against the
	// current rules that are accepted, in (0, 1): the lower limit of the corrected
	// difference must lie above minus the loss.
	SensitivityLoss, SpecificityLoss *float64
}

// Subgroups are the criteria for every group of animals alone.
type Subgroups struct {
	// Properties of Properties, none to ask nothing.
	Properties []string
	// SensitivityLoss is as in Accuracy, for each group at both cuts.
	SensitivityLoss float64
	// LeastInNeed is how many animals of a group must be known to have been in
	// need at the cut for it to be judged; a smaller group is shown, and its newly
	// missed cases need their reasons like all others. 0 judges every group.
	LeastInNeed int
}

// Workload are the criteria for those who see the animals; nil is not asked.
type Workload struct {
	// ExtraPerDay are referrals a day beyond those of the current rules.
	ExtraPerDay *float64
	// ExtraPerCaught are further animals not in need sent in for each further
	// animal in need.
	ExtraPerCaught *float64
	// Cut is from which level an animal counts as sent in.
	Cut codes.Level
}

// Reviewed is one newly missed case that a named person answers for.
type Reviewed struct {
	// Line in the file.
	Line int
	// Episode is the pseudonym as the replay lists it.
	Episode string
	// Reviewer is the role, Registration the reference under which a licensing
	// body knows the person.
	Reviewer, Registration string
	Date                   time.Time
	Reason                 string
}

// Hash returns the SHA-256, in hexadecimal, of all that was fixed beforehand: the
// reviewed cases are not part of it.
func (c *Criteria) Hash() string {
	data, err := json.Marshal(c)
	if err != nil { // no field can fail
		panic(err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// Margin returns a loss of sensitivity that is accepted at a cut, and whether
// one was stated.
func (c *Criteria) Margin(cut codes.Level) (loss float64, stated bool) {
	if a := c.Accuracy[cut]; a.SensitivityLoss != nil {
		return *a.SensitivityLoss, true
	}
	return 0, false
}
