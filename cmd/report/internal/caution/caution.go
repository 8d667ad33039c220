// Package caution holds the words that every output about triage carries.
package caution

// Lines are shown on every page and at the end of every text: what this is
// not, who decides, and what never waits for a table.
var Lines = []string{
	"This is decision support for reviewing telephone rules. It is not a diagnosis and not advice about any animal.",
	"A licensed veterinary professional decides on every change of a rule, under local law. Nothing here is applied by itself.",
	"An animal with an emergency sign is seen at once, whatever a table says. A sign that has rarely been recorded has not been shown to be harmless.",
	"A person who has been bitten or scratched washes the wound with soap and water and sees a doctor.",
}

// Singly stands beside limits that do not allow for clusters.
const Singly = "Limits here take every episode by itself. Where several are of one animal, owner or advisor they are somewhat too narrow; " +
	"report flags allows for that, and shows by how much."
