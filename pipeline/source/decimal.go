package source

import "strconv"

// powers of ten that a float64 holds exactly.
var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// Decimal reads an optional sign, digits and a decimal part behind point. It
// accepts nothing else: no exponent, thousands sign, space or unit.
//
// The result is the float64 nearest to the text: with at most 15 digits both
// digits and power of ten are exact, and one division rounds once.
func Decimal(b []byte, point byte) (float64, bool) {
	i, neg := 0, false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		neg = b[0] == '-'
		i = 1
	}
	mant, digits, scale, seen := int64(0), 0, 0, false
	for ; i < len(b); i++ {
		c := b[i]
		if c-'0' <= 9 {
			mant = mant*10 + int64(c-'0')
			if digits++; digits > 15 {
				return longDecimal(b, point)
			}
			if seen {
				scale++
			}
		} else if c == point && !seen {
			seen = true
		} else {
			return 0, false
		}
	}
	if digits == 0 {
		return 0, false
	}
	v := float64(mant) / powers[scale]
	if neg {
		v = -v
	}
	return v, true
}

// longDecimal reads a number of more than 15 digits.
func longDecimal(b []byte, point byte) (float64, bool) {
	if len(b) > 64 {
		return 0, false
	}
	s, seen := make([]byte, len(b)), false
	for i, c := range b {
		switch {
		case c == point && !seen:
			c, seen = '.', true
		case c-'0' > 9 && !(i == 0 && (c == '-' || c == '+')):
			return 0, false
		}
		s[i] = c
	}
	v, err := strconv.ParseFloat(string(s), 64)
	return v, err == nil
}
