// Package casedef says when an animal needed prompt care: it reads a case
// definition and applies it to what became known after a call.
//
// An episode has any number of outcomes, from vets, from owners who were rung
// up, and from a panel that reviewed the case. The definition names components
// (the vet's own level, admission, surgery, time-critical treatment, death,
// euthanasia by reason), each looked for within its hours of the first contact.
// The rules, in the order in which they decide:
//
//  1. A row counts only if somebody found something: not a row whose owner did
//     not respond or was lost, and not one dated more than a day before the call
//     (a day, because many exports hold dates only).
//  2. A component is yes if a row within its hours shows it. The worst counts.
//  3. A vet overrules an owner: the vet's level stands against the owner's
//     account, and an event told by the owner falls if a vet saw the animal at
//     the same time or later and recorded another disposition. An event after
//     the vet's last look stands.
//  4. A component is no if a vet's row within the window has the answer and it is
//     not the event; or if somebody had contact at or after the end of the
//     window, since then an event that counts would have been told. What happens
//     after the window is a late event: it makes nothing positive, and it is not
//     missing. After a referral nothing is known of what followed there.
//  5. Anything else is unknown. Unknown is never no.
//  6. The animal needed care at a cut if one component listed there is yes, did
//     not if all are no, and is not verified otherwise. A panel's level
//     overrules this, not the components.
//
// The route tells how the case came to be known, and with it what the case may
// stand for. An animal that was brought to a vet was found, even if somebody
// also rang its owner later: visits come before call-backs and audits.
//
// Eval does this in Go for one episode and SQL for a whole table; a test holds
// them to one answer. The package opens no database. Start at Definition.
package casedef

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"
	"time"
)

// Component is a sign that care was needed.
type Component string

// The components, in the order of the columns comp_* of `cases`; VetLevel has
// two columns, one for each cut.
const (
	VetLevel     Component = "vet_level"     // the vet's own level reached the cut
	Admitted     Component = "admitted"      // kept in, which an operation includes
	Surgery      Component = "surgery"       // operated
	TimeCritical Component = "time_critical" // treatment that could not wait
	Death        Component = "death"         // died, or dead on arrival
	Euthanasia   Component = "euthanasia"    // for one of the listed reasons
)

// Components lists all components in order.
func Components() []Component {
	return []Component{VetLevel, Admitted, Surgery, TimeCritical, Death, Euthanasia}
}

// Criterion is how one component is looked for.
type Criterion struct {
	// Hours after the first contact within which it counts, 1 to the window.
	Hours int
	// UnrecordedIsNo says that the source writes the component down only when
	// it is true, so that a blank in a vet's row within the window means no.
	UnrecordedIsNo bool
	// Reasons of euthanasia that count; only for Euthanasia.
	Reasons []string
}

// Definition is one case definition.
type Definition struct {
	File string `json:"-"`
	// ID and Title are printed with every table that rests on the definition.
	ID, Title string
	// WindowHours after the first contact is the time in which a need shows.
	WindowHours int
	// OwnerContactSeen takes an owner's seen_at for the time of the contact;
	// otherwise it is the later of seen_at and recorded_at, because a
	// follow-up call tells of an event that was earlier.
	OwnerContactSeen bool
	// Criteria holds every component; one that the file leaves out has the
	// window's hours and only fills its column.
	Criteria map[Component]Criterion
	// Emergency and SameDay are the components that make a need at each cut.
	// SameDay holds all of Emergency.
	Emergency, SameDay []Component
}

// Hash returns the SHA-256, in hexadecimal, of all that the definition says.
func (d *Definition) Hash() string {
	data, err := json.Marshal(d)
	if err != nil { // no field can fail
		panic(err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// Window returns the time in which a need shows.
func (d *Definition) Window() time.Duration { return time.Duration(d.WindowHours) * time.Hour }

// hours returns the time within which a component counts.
func (d *Definition) hours(c Component) time.Duration {
	return time.Duration(d.Criteria[c].Hours) * time.Hour
}

// early is how long before the first contact an outcome may be dated and still
// belong to it: many exports hold the day and no hour.
const early = 24 * time.Hour

// counts reports whether a reason of euthanasia counts; a blank one is unknown.
func (d *Definition) counts(reason string) bool {
	if reason == "" {
		reason = "unknown"
	}
	return slices.Contains(d.Criteria[Euthanasia].Reasons, reason)
}
