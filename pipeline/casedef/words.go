package casedef

import (
	"fmt"
	"strings"

	"hindcheck/pipeline/codes"
)

// Words says in one sentence, for the foot of a table, when an animal needed
// care at a cut: codes.Emergency or codes.SameDay.
func (d *Definition) Words(cut codes.Level) string {
	components, level := d.SameDay, "same_day or emergency"
	if cut == codes.Emergency {
		components, level = d.Emergency, "emergency"
	}
	plain := map[Component]string{
		VetLevel: "the vet's own level was " + level, Admitted: "it was admitted", Surgery: "it was operated on",
		TimeCritical: "it had treatment that could not wait", Death: "it died",
		Euthanasia: "it was euthanised for " + either(d.Criteria[Euthanasia].Reasons),
	}
	parts := make([]string, len(components))
	for i, c := range components {
		parts[i] = plain[c]
		if h := d.Criteria[c].Hours; h != d.WindowHours {
			parts[i] += fmt.Sprintf(" (within %d h)", h)
		}
	}
	return fmt.Sprintf("Needed care if, within %d h of the first contact, %s (definition %s).", d.WindowHours, strings.Join(parts, "; or "), d.ID)
}

// either writes "a, b or c".
func either(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	n := len(words) - 1
	return strings.Join(words[:n], ", ") + " or " + words[n]
}
