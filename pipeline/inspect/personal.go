package inspect

import (
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// What a cell or column may give away.
const (
	telephone = "telephone number"
	chip      = "chip number"
	mail      = "mail address"
	address   = "address"
	person    = "name"

	personKey   = "key or name of a person"
	prose       = "prose"
	prosePeople = "prose that names people"
)

var (
	// mailRE needs a sign and a domain.
	mailRE = regexp.MustCompile(`[^\s@]+@[^\s@]+\.[a-zA-Z]{2,}`)
	// addressRE: a street with a house number, on either side of it.
	addressRE = regexp.MustCompile(`(?i)(\p{L}+(straße|strasse|str\.?|weg|gasse|platz|allee)|\b(street|st|road|rd|lane|ln|avenue|ave|close|drive|way|square|rue|via|calle))\.?,?\s+\d{1,4}\s?[a-z]?\b|\b\d{1,4}\s?[a-z]?,?\s+(\p{L}+\s+){1,3}(street|st|road|rd|lane|ln|avenue|ave|close|drive|way|square)\b|\b\d{1,4},?\s+(rue|avenue)\s`)
	// phoneRE: digits in groups, as telephone numbers are written.
	phoneRE = regexp.MustCompile(`(\+|\b0|\(0)[0-9](?:[ ()/.-]{0,3}[0-9]){5,13}\b`)
	// nameRE: two to four capitalised words, or a title or an initial with one.
	nameRE = regexp.MustCompile(`^(\p{Lu}[\p{Ll}'’]+[ -]){1,3}\p{Lu}[\p{L}'’]*\p{Ll}$|^\p{Lu}[\p{L}'’-]+, ?\p{Lu}[\p{L}'’.-]*$|^(\p{Lu}\. ?)+\p{Lu}[\p{Ll}'’-]+$`)
	// titleRE finds a titled name within prose.
	titleRE = regexp.MustCompile(`(?i)\b(mrs?|ms|miss|dr|herr|frau|mme|signora?)\b\.?\s+\p{Lu}`)
	dateRE  = regexp.MustCompile(`^\d{4}-\d\d-\d\d|^\d\d?[./-]\d\d?[./-]\d{2,4}\b`)
)

// looksLike says which identifier a cell seems to be or to hold, "" for none.
func looksLike(cell string) string {
	switch {
	case len(cell) == 15 && strings.Trim(cell, "0123456789") == "":
		return chip // a transponder code of ISO 11784 has 15 digits
	case strings.IndexByte(cell, '@') > 0 && mailRE.MatchString(cell):
		return mail
	case !dateRE.MatchString(cell) && phoneRE.MatchString(cell) && !strings.ContainsAny(cell, ":") && !isNumber(cell):
		return telephone
	case addressRE.MatchString(cell):
		return address
	case nameRE.MatchString(cell), titleRE.MatchString(cell):
		return person
	}
	return ""
}

// isNumber keeps decimals such as 0.123456 from being taken for telephones. A
// whole number with a leading 0 stays one.
func isNumber(cell string) bool {
	ok, sign := numeric([]byte(cell))
	return ok && (sign != 0 || cell[0] != '0' && cell[0] != '+')
}

// headerHints are words of column names that tell what stands below, in the
// languages that exports come in most.
var headerHints = []struct {
	what  string
	words []string
}{
	{telephone, []string{"phone", "telephone", "tel", "mobile", "handy", "telefon", "cell", "fax"}},
	{chip, []string{"chip", "microchip", "transponder"}},
	{mail, []string{"email", "mail"}},
	{address, []string{"address", "adresse", "street", "strasse", "straße", "postcode", "zip", "plz", "city", "town", "ort"}},
	{person, []string{"name", "surname", "forename", "firstname", "lastname", "vorname", "nachname", "caller", "anrufer", "keeper", "halter", "besitzer"}},
}

// keyHints name columns that tell people or animals apart, by a key or a name.
var keyHints = []string{"owner", "advisor", "adviser", "nurse", "vet", "clinician", "agent", "user", "staff", "handler", "patient", "client", "customer"}

// personalShare is the share of cells that look like an identifier from which
// the whole column is taken for one.
const personalShare = 0.2

// personal says what the column seems to give away.
func (t *tally) personal(name string, c *Column) string {
	if t.filled == 0 || c.Kind == Date || c.Kind == Clock {
		return ""
	}
	words := nameWords(name)
	for _, h := range headerHints {
		if slices.ContainsFunc(words, func(w string) bool { return slices.Contains(h.words, w) }) {
			return h.what
		}
	}
	for _, what := range []string{telephone, chip, mail, address, person} {
		if n := t.looks[what]; float64(n) >= personalShare*float64(t.looked) && c.Kind != Prose {
			return what
		}
	}
	if c.Kind == Word && len(words) > 0 && slices.Contains(keyHints, words[len(words)-1]) {
		return personKey
	}
	if c.Kind == Prose {
		if n := t.looks[telephone] + t.looks[chip] + t.looks[mail] + t.looks[address] + t.looks[person]; n > 0 {
			return prosePeople
		}
		return prose
	}
	return ""
}

// nameWords splits a column name at signs and at changes from small to capital.
func nameWords(name string) []string {
	var b strings.Builder
	last := ' '
	for _, r := range name {
		switch {
		case !unicode.IsLetter(r):
			b.WriteByte(' ')
		case unicode.IsUpper(r) && unicode.IsLower(last):
			b.WriteByte(' ')
			fallthrough
		default:
			b.WriteRune(unicode.ToLower(r))
		}
		last = r
	}
	return strings.Fields(b.String())
}

// mayShow reports whether one value of a column of words may be printed: a
// short word or two, with nothing in it that could lead to a person.
func mayShow(word string) bool {
	if len(word) > 40 || wordsIn([]byte(word)) >= proseWords || looksLike(word) != "" {
		return false
	}
	digits := 0
	for _, c := range []byte(word) {
		if c >= '0' && c <= '9' {
			digits++
		}
	}
	return digits < 5
}
