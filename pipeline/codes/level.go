package codes

import "fmt"

// Level is a triage level: how soon an animal must be seen. Levels are
// ordered, a higher number is more urgent, so they compare with < and >.
// The stored form is the word in the record tables and the number in `cases`.
type Level int8

// The levels. NoLevel means none or unknown: it is not a level that can be
// advised, and for a rule result it means "undetermined: nothing was assessed".
const (
	NoLevel   Level = 0
	HomeCare  Level = 1
	Soon      Level = 2
	SameDay   Level = 3
	Emergency Level = 4
)

// levelWords holds the stored word of each level at the level's number.
var levelWords = [...]string{"", "home_care", "soon", "same_day", "emergency"}

// String returns the stored word, "" for NoLevel.
func (l Level) String() string {
	if l < 0 || int(l) >= len(levelWords) {
		return fmt.Sprintf("level(%d)", int8(l))
	}
	return levelWords[l]
}

// Valid reports whether l is one of the four levels that can be advised.
func (l Level) Valid() bool { return l >= HomeCare && l <= Emergency }

// AtLeast reports whether l reaches the level cut. NoLevel reaches nothing.
func (l Level) AtLeast(cut Level) bool { return l.Valid() && l >= cut }

// ParseLevel turns a stored word into its level. The error names the words
// that are allowed; the empty word is an error, not NoLevel.
func ParseLevel(word string) (Level, error) {
	for l := HomeCare; l <= Emergency; l++ {
		if levelWords[l] == word {
			return l, nil
		}
	}
	return NoLevel, fmt.Errorf("unknown level %q, expected one of %s", clip(word), Levels)
}
