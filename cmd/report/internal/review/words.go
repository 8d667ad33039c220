package review

import (
	"fmt"
	"strconv"
	"strings"

	"hindcheck/queries"
)

// The levels as numbers.
const (
	homeCare  = 1
	soon      = 2
	sameDay   = 3
	emergency = 4
)

// levelWords are the stored words; place is number.
var levelWords = []string{"none", "home_care", "soon", "same_day", "emergency"}

// levelLabels are the words for people.
var levelLabels = []string{"no level recorded", "home care", "soon", "same day", "emergency"}

// ruleLabels differ in the lowest: the rules may be undetermined.
var ruleLabels = []string{"undetermined", "home care", "soon", "same day", "emergency"}

// routeWords are the stored words of routes; place is number.
var routeWords = []string{"none", "advised_visit", "own_decision", "call_back", "audit"}

// routeLabels are the words for people.
var routeLabels = []string{"no outcome", "seen as advised", "came on the owner's own decision", "follow-up call", "audit sample"}

func word(list []string, n int8) string {
	if n < 0 || int(n) >= len(list) {
		return strconv.Itoa(int(n))
	}
	return list[n]
}

// cutLabel says what at or above the cut means.
func cutLabel(cut int) string {
	if cut == emergency {
		return "emergency"
	}
	return "same day or sooner"
}

// belowLabel says what below the cut means.
func belowLabel(cut int) string {
	if cut == emergency {
		return "below emergency"
	}
	return "below same day"
}

// CutNumber reads same_day or emergency.
func CutNumber(word string) (int, error) {
	switch word {
	case "same_day":
		return sameDay, nil
	case "emergency":
		return emergency, nil
	}
	return 0, fmt.Errorf("cut %q: expected same_day or emergency", word)
}

// monthName writes 202607 as July 2026.
func monthName(month int) string { return queries.MonthStart(month).Format("January 2006") }

// count writes a number of episodes, rounded to a whole one, with commas.
func count(x float64) string {
	s := strconv.FormatInt(int64(x+0.5), 10)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// percent writes a share with one decimal.
func percent(x float64) string { return strconv.FormatFloat(100*x, 'f', 1, 64) + " %" }

// finePercent is for shares of one in a thousand.
func finePercent(x float64) string { return strconv.FormatFloat(100*x, 'f', 3, 64) + " %" }

// percentFigure and countFigure write a figure with its limits.
func percentFigure(f Figure) string { return limits(f, percent) }
func countFigure(f Figure) string   { return limits(f, count) }

func limits(f Figure, write func(float64) string) string {
	if !f.Estimable() {
		return "not estimable"
	}
	s := write(*f.Estimate)
	if f.Low != nil && f.High != nil {
		s += " (" + write(*f.Low) + " to " + write(*f.High) + ")"
	}
	return s
}

// plural writes a count with its noun.
func plural(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return count(float64(n)) + " " + many
}

func list(words []string) string { return strings.Join(words, ", ") }

// firstOf lists the first three and says how many more there are.
func firstOf(words []string) string {
	const named = 3
	if more := len(words) - named; more > 0 {
		words = append(words[:named:named], fmt.Sprintf("and %d more", more))
	}
	return list(words)
}
