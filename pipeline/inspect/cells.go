package inspect

import (
	"bytes"
	"unicode"
	"unicode/utf8"

	"hindcheck/pipeline/source"
)

func runes(cell []byte) int { return utf8.RuneCount(cell) }

// wordsIn counts stretches of letters.
func wordsIn(cell []byte) int {
	n, in := 0, false
	for _, r := range string(cell) {
		letter := unicode.IsLetter(r)
		if letter && !in {
			n++
		}
		// A key such as 5e0b-91fa is one word, not four.
		in = letter || in && (r == '\'' || r == '-' || r == '_' || unicode.IsDigit(r))
	}
	return n
}

// numeric reports whether a cell is a plain number, and with which decimal
// sign, 0 for a whole one.
func numeric(cell []byte) (ok bool, sign byte) {
	i, before, after := 0, 0, 0
	if len(cell) > 0 && (cell[0] == '-' || cell[0] == '+') {
		i++
	}
	for ; i < len(cell); i++ {
		switch c := cell[i]; {
		case c >= '0' && c <= '9' && sign == 0:
			before++
		case c >= '0' && c <= '9':
			after++
		case (c == '.' || c == ',') && sign == 0 && before > 0:
			sign = c
		default:
			return false, 0
		}
	}
	return before > 0 && (sign == 0 || after > 0), sign
}

// unitBehind finds the unit of a cell such as "12,5 kg".
func unitBehind(cell []byte) (unit string, ok bool) {
	i := 0
	for i < len(cell) && (cell[i] >= '0' && cell[i] <= '9' || cell[i] == '.' || cell[i] == ',' || i == 0 && cell[i] == '-') {
		i++
	}
	if number, _ := numeric(cell[:i]); !number || i == len(cell) {
		return "", false
	}
	u, ok := source.UnitInCell(string(cell[i:]))
	return u.Name, ok
}

// isClock reports whether a cell is a time of day without a date.
func isClock(cell []byte) bool {
	digits, colons := 0, 0
	for _, c := range cell {
		switch {
		case c >= '0' && c <= '9':
			digits++
		case c == ':' && digits > 0:
			colons++
		default:
			return false
		}
	}
	return (colons == 1 || colons == 2) && digits >= 3 && digits <= 6
}

// shape writes a cell as runs of letters (a) and digits (9) with what stands
// between: "C-00123" is "a-9".
func shape(cell []byte) string {
	var out []byte
	for i := 0; i < len(cell) && len(out) < 24; i++ {
		c := cell[i]
		switch {
		case c >= '0' && c <= '9':
			c = '9'
		case c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= 0x80:
			c = 'a'
		}
		if c != '9' && c != 'a' || len(out) == 0 || out[len(out)-1] != c {
			out = append(out, c)
		}
	}
	if len(out) > mixedRuns && !bytes.ContainsAny(out, " ") {
		return mixedShape
	}
	return string(out)
}

// A token in which letters and digits change places more often than in a
// composed number is a hash or the like; all such tokens have one shape.
const (
	mixedRuns  = 8
	mixedShape = "9a*"
)

// hasDigitShape reports whether a shape is one of keys: digits, and no space.
func hasDigitShape(s string) bool {
	digits := false
	for _, c := range []byte(s) {
		if c == ' ' {
			return false
		}
		digits = digits || c == '9'
	}
	return digits
}
