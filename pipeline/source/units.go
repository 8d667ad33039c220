package source

import (
	"slices"
	"strings"
)

// Unit is a unit in which an export may state a number.
type Unit struct {
	Name string
	// dimension keeps seconds from being read as kilograms.
	dimension string
	// One unit is factor base units; offset is added before multiplying.
	// Bases: s, kg, degC, /min.
	factor, offset float64
}

// Count is the pseudo-unit of a number that was counted over a window: with
// the window in seconds it becomes a rate a minute.
const Count = "count"

var units = []Unit{
	{"s", "time", 1, 0}, {"min", "time", 60, 0}, {"h", "time", 3600, 0}, {"d", "time", 86400, 0}, {"weeks", "time", 7 * 86400, 0},
	// A month is a twelfth of a year of 365.25 days, so that years to months is exact.
	{"months", "time", 365.25 * 86400 / 12, 0}, {"years", "time", 365.25 * 86400, 0},
	{"kg", "mass", 1, 0}, {"g", "mass", 0.001, 0}, {"lb", "mass", 0.45359237, 0}, // the international pound of 1959
	{"degC", "temperature", 1, 0}, {"degF", "temperature", 5.0 / 9, -32},
	{"/min", "rate", 1, 0}, {"/15s", "rate", 4, 0}, {"/30s", "rate", 2, 0},
	// Laboratory values and sizes of findings that a site adds.
	{"percent", "share", 1, 0}, {"g/dl", "mass concentration", 10, 0}, {"g/l", "mass concentration", 1, 0}, {"mmol/l", "amount concentration", 1, 0},
	{"ph", "ph", 1, 0}, {"score", "score", 1, 0}, {"ml", "volume", 1, 0}, {"mm", "length", 1, 0}, {"cm", "length", 10, 0},
}

// aliases are spellings of units as they stand in cells, in lower case.
var aliases = map[string]string{
	"sec": "s", "secs": "s", "second": "s", "seconds": "s", "sek": "s",
	"mins": "min", "minute": "min", "minutes": "min",
	"hr": "h", "hrs": "h", "hour": "h", "hours": "h", "std": "h",
	"day": "d", "days": "d", "week": "weeks", "wk": "weeks", "wks": "weeks",
	"month": "months", "mo": "months", "mth": "months", "mths": "months",
	"year": "years", "y": "years", "yr": "years", "yrs": "years",
	"kgs": "kg", "kilo": "kg", "kilos": "kg", "gram": "g", "grams": "g", "gr": "g",
	"lbs": "lb", "pound": "lb", "pounds": "lb",
	"c": "degC", "°c": "degC", "celsius": "degC", "degc": "degC", "â°c": "degC",
	"f": "degF", "°f": "degF", "fahrenheit": "degF", "degf": "degF",
	"bpm": "/min", "/minute": "/min", "per min": "/min", "per minute": "/min", "breaths/min": "/min", "beats/min": "/min", "a minute": "/min",
	"x/min": "/min", "/15 s": "/15s", "/30 s": "/30s",
}

// UnitNames lists the units that a description may name.
func UnitNames() []string {
	names := make([]string, len(units))
	for i, u := range units {
		names[i] = u.Name
	}
	return names
}

// ParseUnit finds a unit by its name.
func ParseUnit(name string) (Unit, bool) {
	i := slices.IndexFunc(units, func(u Unit) bool { return u.Name == name })
	if i < 0 {
		return Unit{}, false
	}
	return units[i], true
}

// UnitInCell finds the unit that stands in a cell behind the number, in one of
// its usual spellings.
func UnitInCell(text string) (Unit, bool) {
	text = strings.ToLower(strings.TrimSpace(text))
	if name, ok := aliases[text]; ok {
		text = name
	}
	return ParseUnit(text)
}

// baseUnit finds the unit in which a column or finding is stored, such as
// "breaths/min".
func baseUnit(name string) (Unit, bool) {
	if u, ok := ParseUnit(name); ok {
		return u, true // g/dl is a unit of its own, no rate of g
	}
	if i := strings.IndexByte(name, '/'); i > 0 {
		name = name[i:]
	}
	return ParseUnit(name)
}

// Same reports whether two units measure the same thing.
func (u Unit) Same(v Unit) bool { return u.dimension == v.dimension }

// Conversion turns a number of one unit into another: (x + Add) * Factor + Then.
type Conversion struct{ Add, Factor, Then float64 }

// To returns the conversion from u to v, which must be of the same dimension.
func (u Unit) To(v Unit) Conversion {
	if u.Name == v.Name {
		return Conversion{Factor: 1}
	}
	return Conversion{Add: u.offset, Factor: u.factor / v.factor, Then: -v.offset}
}

// Apply converts x.
func (c Conversion) Apply(x float64) float64 { return (x+c.Add)*c.Factor + c.Then }

// Identity reports whether the conversion changes nothing.
func (c Conversion) Identity() bool { return c == Conversion{Factor: 1} }
