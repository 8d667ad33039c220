package source

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unsafe"
)

// Layout says how a date or time is written. It is a Go reference layout (the
// moment Mon Jan 2 15:04:05 2006 as the export would write it) or one of the
// words serial-1900, serial-1904 (day numbers of spreadsheets), unix, unix-ms,
// or days-since-2000-01-01 with any day (day numbers of a study, 0 that day).
//
// Layouts made of digits only are read by a short program; others (names of
// months, am and pm) by package time, which takes ten times as long.
type Layout struct {
	text   string
	steps  []step
	serial serial
	origin int64 // of a day number: days since 1970
	zoned  bool  // the text states its offset from UTC
	clock  bool  // the text states the time of day
}

type serial uint8

const (
	notSerial serial = iota
	serial1900
	serial1904
	unixSeconds
	unixMillis
	studyDays
)

// daysSince begins the layout of a study's day numbers.
const daysSince = "days-since-"

var serials = map[string]serial{"serial-1900": serial1900, "serial-1904": serial1904, "unix": unixSeconds, "unix-ms": unixMillis}

// step is one part of a layout: a field of digits, or a literal byte.
type step struct {
	field field
	width int // digits; 0: one or two
	lit   byte
}

type field uint8

const (
	literal field = iota
	year
	month
	day
	hour
	minute
	second
	offset
)

// tokens in the order in which they must be tried.
var tokens = []struct {
	text string
	step step
}{
	{"2006", step{year, 4, 0}}, {"01", step{month, 2, 0}}, {"02", step{day, 2, 0}}, {"15", step{hour, 0, 0}}, {"04", step{minute, 2, 0}}, {"05", step{second, 2, 0}},
	{"06", step{year, 2, 0}}, {"Z07:00", step{offset, 0, 'Z'}}, {"-07:00", step{offset, 0, 0}}, {"Z0700", step{offset, 0, 'Z'}}, {"-0700", step{offset, 0, 0}},
	{"1", step{month, 0, 0}}, {"2", step{day, 0, 0}}, {"4", step{minute, 0, 0}}, {"5", step{second, 0, 0}},
}

// ParseLayout checks a layout. A layout must state day, month and year once.
func ParseLayout(text string) (Layout, error) {
	if s, ok := serials[text]; ok {
		return Layout{text: text, serial: s, zoned: s >= unixSeconds, clock: true}, nil
	}
	if day, ok := strings.CutPrefix(text, daysSince); ok {
		t, err := time.Parse(time.DateOnly, day)
		if err != nil {
			return Layout{}, fmt.Errorf("it names no day; write one such as %s2000-01-01", daysSince)
		}
		return Layout{text: text, serial: studyDays, origin: t.Unix() / 86400, clock: true}, nil
	}
	probe := time.Date(2023, time.November, 29, 17, 48, 36, 0, time.UTC)
	back, err := time.Parse(text, probe.Format(text))
	if err != nil || !back.Truncate(24*time.Hour).Equal(probe.Truncate(24*time.Hour)) {
		return Layout{}, fmt.Errorf("it does not give back the day 29 November 2023; write 2 January 2006, 15:04:05, as the export would")
	}
	l := Layout{text: text}
	l.clock = back.Hour() == 17
	if !l.clock && back.Hour() != 0 {
		return Layout{}, fmt.Errorf("it loses the half of the day; write 15 for a clock of 24 hours or add PM")
	}
	east := time.FixedZone("", 3600)
	withZone, err := time.Parse(text, probe.In(east).Format(text))
	l.zoned = err == nil && l.clock && withZone.Equal(probe.Truncate(time.Minute)) || err == nil && l.clock && withZone.Equal(probe)
	l.steps = compile(text)
	return l, nil
}

// compile returns the steps of an all-digit layout, nil for another.
func compile(text string) []step {
	var steps []step
	for rest := text; rest != ""; {
		i := slices.IndexFunc(tokens, func(t struct {
			text string
			step step
		}) bool {
			return strings.HasPrefix(rest, t.text)
		})
		if i >= 0 {
			steps = append(steps, tokens[i].step)
			rest = rest[len(tokens[i].text):]
			continue
		}
		if c := rest[0]; c == '_' || c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' && c != 'T' || c >= 'a' && c <= 'z' || c >= 0x80 {
			return nil
		}
		steps = append(steps, step{lit: rest[0]})
		rest = rest[1:]
	}
	return steps
}

// String returns the layout as written.
func (l Layout) String() string { return l.text }

// Zoned reports whether texts state their offset from UTC.
func (l Layout) Zoned() bool { return l.zoned }

// HasClock reports whether texts state the time of day.
func (l Layout) HasClock() bool { return l.clock }

// Counts reports whether texts are numbers of days or seconds.
func (l Layout) Counts() bool { return l.serial != notSerial }

// IsZero reports whether there is no layout.
func (l Layout) IsZero() bool { return l.text == "" }

// Moment is a date and time as written: local, or UTC when the layout states
// the offset.
type Moment struct {
	// Micros since 1970-01-01 00:00 of the clock in question.
	Micros int64
	// Midnight24 says that the text gave 24:00 of the day before.
	Midnight24 bool
	// Seconds says that seconds were there without being in the layout, or the
	// other way round.
	Seconds bool
}

const (
	second1 = int64(1_000_000)
	day1    = 86400 * second1
)

// Parse reads a text. ok is false when it does not follow the layout or names
// a day that does not exist.
func (l *Layout) Parse(b []byte) (m Moment, ok bool) {
	switch {
	case l.serial != notSerial:
		return l.parseSerial(b)
	case l.steps != nil:
		return l.parseSteps(b)
	}
	t, err := time.Parse(l.text, unsafe.String(unsafe.SliceData(b), len(b))) // the text is not kept
	if err != nil {
		return m, false
	}
	return Moment{Micros: t.UnixMicro()}, true
}

// clockParts collects the fields of a text.
type clockParts struct{ year, month, day, hour, minute, second, micros, offset int }

func (l *Layout) parseSteps(b []byte) (m Moment, ok bool) {
	p := clockParts{month: 1, day: 1}
	i, missing := 0, false
	for n := range l.steps {
		s := &l.steps[n]
		switch s.field {
		case literal:
			if i >= len(b) || b[i] != s.lit {
				if i == len(b) && s.lit == ':' && n+2 == len(l.steps) && l.steps[n+1].field == second {
					missing = true // 10:15 under a layout of 10:15:00
				} else {
					return m, false
				}
				continue
			}
			i++
		case offset:
			if i, ok = p.zone(b, i, s.lit); !ok {
				return m, false
			}
		default:
			if missing {
				continue
			}
			if i, ok = p.digits(b, i, s); !ok {
				return m, false
			}
		}
	}
	extra := false
	if i < len(b) {
		if i, extra = p.trailingSeconds(b, i, l); i != len(b) {
			return m, false
		}
	}
	m, ok = p.moment()
	m.Seconds = missing || extra
	return m, ok
}

// digits reads the field of one step, and a fraction behind seconds.
func (p *clockParts) digits(b []byte, i int, s *step) (int, bool) {
	v, n, limit := 0, 0, s.width
	if limit == 0 {
		limit = 2
	}
	for ; n < limit && i < len(b) && b[i]-'0' <= 9; n++ {
		v = v*10 + int(b[i]-'0')
		i++
	}
	if n == 0 || s.width > 0 && n != s.width {
		return i, false
	}
	switch s.field {
	case year:
		if s.width == 2 { // the rule of package time: 69 to 99 are of the last century
			if v >= 69 {
				v += 1900
			} else {
				v += 2000
			}
		}
		p.year = v
	case month:
		p.month = v
	case day:
		p.day = v
	case hour:
		p.hour = v
	case minute:
		p.minute = v
	case second:
		p.second = v
		i = p.fraction(b, i)
	}
	return i, true
}

// fraction reads a fraction of a second, as far as microseconds.
func (p *clockParts) fraction(b []byte, i int) int {
	if i+1 >= len(b) || b[i] != '.' && b[i] != ',' || b[i+1]-'0' > 9 {
		return i
	}
	i++
	for scale := 100_000; i < len(b) && b[i]-'0' <= 9; i++ {
		p.micros += int(b[i]-'0') * scale
		scale /= 10
	}
	return i
}

// trailingSeconds reads seconds behind a layout that ends in minutes.
func (p *clockParts) trailingSeconds(b []byte, i int, l *Layout) (int, bool) {
	if l.steps[len(l.steps)-1].field != minute || b[i] != ':' {
		return i, false
	}
	j, ok := p.digits(b, i+1, &step{second, 2, 0})
	if !ok {
		return i, false
	}
	return j, true
}

// zone reads Z, +hh:mm or +hhmm.
func (p *clockParts) zone(b []byte, i int, z byte) (int, bool) {
	if i < len(b) && z == 'Z' && b[i] == 'Z' {
		return i + 1, true
	}
	if i+5 > len(b) || b[i] != '+' && b[i] != '-' {
		return i, false
	}
	sign := 1
	if b[i] == '-' {
		sign = -1
	}
	var d [4]int
	i++
	for n := range d {
		if n == 2 && i < len(b) && b[i] == ':' {
			i++
		}
		if i >= len(b) || b[i]-'0' > 9 {
			return i, false
		}
		d[n] = int(b[i] - '0')
		i++
	}
	h, m := d[0]*10+d[1], d[2]*10+d[3]
	if h > 24 || m > 60 { // the limits of package time
		return i, false
	}
	p.offset = sign * (h*3600 + m*60)
	return i, true
}

// moment checks the fields and puts them together.
func (p *clockParts) moment() (m Moment, ok bool) {
	if p.hour == 24 && p.minute == 0 && p.second == 0 && p.micros == 0 {
		m.Midnight24 = true
	} else if p.hour > 23 {
		return m, false
	}
	if p.minute > 59 || p.second > 59 || p.month < 1 || p.month > 12 || p.day < 1 || p.day > daysIn(p.year, p.month) {
		return m, false
	}
	seconds := daysFromCivil(p.year, p.month, p.day)*86400 + int64(p.hour*3600+p.minute*60+p.second-p.offset)
	m.Micros = seconds*second1 + int64(p.micros)
	return m, true
}

var monthDays = [...]int{0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

func daysIn(y, m int) int {
	if m == 2 && y%4 == 0 && (y%100 != 0 || y%400 == 0) {
		return 29
	}
	return monthDays[m]
}

// daysFromCivil counts days from 1970-01-01 in the Gregorian calendar, by
// years that begin in March so that the leap day is the last.
func daysFromCivil(y, m, d int) int64 {
	if m <= 2 {
		y--
		m += 12
	}
	era := y / 400
	if y < 0 {
		era = (y - 399) / 400
	}
	yoe := y - era*400
	doy := (153*(m-3)+2)/5 + d - 1
	return int64(era)*146097 + int64(yoe*365+yoe/4-yoe/100+doy) - 719468
}

// parseSerial reads a day number of a spreadsheet, or seconds or milliseconds
// since 1970 UTC.
func (l *Layout) parseSerial(b []byte) (m Moment, ok bool) {
	v, ok := Decimal(b, '.')
	if !ok { // a day number has no thousands sign, so the comma is the decimal sign
		v, ok = Decimal(b, ',')
	}
	if !ok || v < 0 {
		return m, false
	}
	switch l.serial {
	case unixSeconds:
		return Moment{Micros: int64(v*1e6 + 0.5)}, v < 1e11
	case unixMillis:
		return Moment{Micros: int64(v*1e3 + 0.5)}, v < 1e14
	case studyDays:
		return Moment{Micros: l.origin*day1 + int64(v*86400+0.5)*second1}, v < 1e6
	}
	micros, ok := SerialMicros(v, l.serial == serial1904)
	return Moment{Micros: micros}, ok
}

// SerialMicros turns a spreadsheet's day number into microseconds since 1970
// on the local clock, to the nearest second. Numbers before 1 March 1900 are
// refused: the 1900 system counts a leap day that never was.
func SerialMicros(v float64, from1904 bool) (int64, bool) {
	if v < 61 && !from1904 || v > 2958466 || v < 0 {
		return 0, false
	}
	days := int64(v) - 25569 // 1970-01-01 in the 1900 system
	if from1904 {
		days += 1462
	}
	return days*day1 + int64((v-float64(int64(v)))*86400+0.5)*second1, true
}
