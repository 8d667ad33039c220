package tune

import (
	"fmt"
	"strconv"
	"strings"
)

// Criterion is what a combination is chosen by.
type Criterion struct {
	Text string
	// sensitivity is the floor that its lower limit must reach, 0 if not asked;
	// extra is how many more referrals a day are allowed, if capped.
	sensitivity, extra float64
	capped             bool
}

// Criteria explains the forms of a criterion.
const Criteria = `  sensitivity=S    sensitivity at least S at its lower limit, then fewest referrals
  extra=N          at most N referrals a day more than the rules in force (N may be
                   0 or negative), then most animals in need sent in`

// ParseCriterion reads a criterion.
func ParseCriterion(text string) (Criterion, error) {
	kind, number, _ := strings.Cut(text, "=")
	v, err := strconv.ParseFloat(number, 64)
	switch {
	case kind == "sensitivity" && err == nil && v > 0 && v < 1:
		return Criterion{Text: text, sensitivity: v}, nil
	case kind == "extra" && err == nil && v > -1e6 && v < 1e6:
		return Criterion{Text: text, extra: v, capped: true}, nil
	}
	return Criterion{}, fmt.Errorf("criterion %q: expected one of\n%s", text, Criteria)
}

// String says the criterion in words.
func (c Criterion) String() string {
	if c.capped {
		return fmt.Sprintf("most animals in need sent in with at most %+g referrals a day beside the rules in force", c.extra)
	}
	return fmt.Sprintf("fewest referrals with a sensitivity of at least %g at its lower limit", c.sensitivity)
}
