package source

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The quick program must read what package time reads, and the same moment.
func TestLayoutsAgainstPackageTime(t *testing.T) {
	layouts := []string{"2006-01-02", "02.01.2006 15:04", "02.01.2006 15:04:05", "2006-01-02T15:04:05Z07:00", "2006-01-02 15:04:05-0700", "1/2/06 15:04",
		"2.1.2006", "20060102", "20060102150405", "2006/1/2 15:4:5", "02-Jan-2006 15:04", "January 2, 2006 3:04 PM", "02.01.06"}
	r := rand.New(rand.NewPCG(1, 1))
	for _, text := range layouts {
		l, err := ParseLayout(text)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		for range 3000 {
			at := time.Unix(r.Int64N(4e9)-4e8, 0).In(time.FixedZone("", (r.IntN(27)-12)*1800))
			s := []byte(at.Format(text))
			if r.IntN(2) == 0 { // damage one byte
				s[r.IntN(len(s))] = "0123456789 .:-T"[r.IntN(15)]
			}
			want, err := time.Parse(text, string(s))
			m, ok := l.Parse(s)
			if ok && (m.Midnight24 || m.Seconds) {
				continue // read on purpose where package time does not
			}
			if !ok && (strings.Contains(string(s), "  ") || strings.Count(string(s), "-") > strings.Count(text, "-")) {
				continue // package time takes two spaces for one, and a year of -8
			}
			if ok != (err == nil) {
				t.Fatalf("%s: %q read: %v, package time: %v", text, s, ok, err)
			}
			if ok && m.Micros != want.UnixMicro() {
				t.Fatalf("%s: %q is %d, package time %d", text, s, m.Micros, want.UnixMicro())
			}
		}
	}
}

func TestLayoutKinds(t *testing.T) {
	for text, want := range map[string][2]bool{ // states its offset, states the time of day
		"2006-01-02": {false, false}, "02.01.2006 15:04": {false, true}, "2006-01-02T15:04:05Z07:00": {true, true}, "2006-01-02T15:04:05Z": {false, true},
		"20060102 1504 -0700": {true, true}, "serial-1900": {false, true}, "unix": {true, true}, "unix-ms": {true, true}, "Jan 2 2006 3:04 PM": {false, true},
	} {
		l, err := ParseLayout(text)
		if err != nil || l.Zoned() != want[0] || l.HasClock() != want[1] || l.String() != text {
			t.Errorf("%s: zoned %v, clock %v, %v", text, l.Zoned(), l.HasClock(), err)
		}
	}
}

func TestMoments(t *testing.T) {
	for _, c := range []struct{ layout, text, want string }{
		{"02.01.2006 15:04", "31.12.2026 24:00", "2027-01-01T00:00:00Z"},
		{"02.01.2006 15:04:05", "31.12.2026 08:15", "2026-12-31T08:15:00Z"},
		{"02.01.2006 15:04", "31.12.2026 08:15:30", "2026-12-31T08:15:30Z"},
		{"2006-01-02T15:04:05Z07:00", "2026-12-31T08:15:30.25+02:00", "2026-12-31T06:15:30.25Z"},
		{"2006-01-02T15:04:05", "2026-12-31T08:15:30,123456789", "2026-12-31T08:15:30.123456Z"},
		{"serial-1900", "61", "1900-03-01T00:00:00Z"}, // by hand: the first day after the leap day that never was
		{"serial-1900", "25569", "1970-01-01T00:00:00Z"},
		{"serial-1900", "45292.75", "2024-01-01T18:00:00Z"},
		{"serial-1904", "0", "1904-01-01T00:00:00Z"},
		{"unix", "1700000000", "2023-11-14T22:13:20Z"},
		{"unix-ms", "1700000000500", "2023-11-14T22:13:20.5Z"},
		{"serial-1900", "60", ""}, {"serial-1900", "-1", ""}, {"serial-1900", "x", ""},
		{"2006-01-02", "2026-02-30", ""}, {"2006-01-02", "2026-13-01", ""}, {"2006-01-02", "2026-00-01", ""}, {"2006-01-02", "", ""},
		{"02.01.2006 15:04", "31.12.2026 24:01", ""}, {"02.01.2006 15:04", "31.12.2026 08:15:", ""}, {"02.01.2006 15:04", "31.12.2026 08:15x", ""},
		{"02.01.2006 15:04", "31.12.2026", ""}, {"2006-01-02T15:04:05Z07:00", "2026-12-31T08:15:30", ""}, {"2006-01-02T15:04:05Z07:00", "2026-12-31T08:15:30+99:00", ""},
	} {
		l, err := ParseLayout(c.layout)
		if err != nil {
			t.Fatal(err)
		}
		m, ok := l.Parse([]byte(c.text))
		got := ""
		if ok {
			got = time.UnixMicro(m.Micros).UTC().Format(time.RFC3339Nano)
		}
		if got != c.want {
			t.Errorf("%s: %q is %q, want %q", c.layout, c.text, got, c.want)
		}
	}
}

// Decimal gives the float64 nearest to the text, as strconv does.
func TestDecimal(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	for range 200_000 {
		s := strconv.FormatFloat((r.Float64()-0.3)*math.Pow10(r.IntN(12)-3), 'f', r.IntN(18)-1, 64)
		want, _ := strconv.ParseFloat(s, 64)
		if got, ok := Decimal([]byte(s), '.'); !ok || got != want {
			t.Fatalf("%s is %v, want %v", s, got, want)
		}
	}
	for s, want := range map[string]float64{"+5": 5, "-5": -5, ",5": 0.5, "5,": 5, "007": 7, "0,10": 0.1, "12345678901234567890,5": 12345678901234567890.5} {
		if got, ok := Decimal([]byte(s), ','); !ok || got != want {
			t.Errorf("%s is %v, %v", s, got, ok)
		}
	}
	for _, s := range []string{"", "-", ",", "1,2,3", "1.5", "1e5", " 1", "1 ", "0x1", "1_0", "inf", "nan", "--1", "1-", "٣"} {
		if v, ok := Decimal([]byte(s), ','); ok {
			t.Errorf("%q is read as %v", s, v)
		}
	}
}

// Conversions by hand; 100.4 degF is 38 degC, a pound is 0.45359237 kg (1959).
func TestConversions(t *testing.T) {
	for _, c := range []struct {
		from, to string
		x, want  float64
	}{
		{"degF", "degC", 100.4, 38}, {"degC", "degF", 38, 100.4}, {"lb", "kg", 10, 4.5359237}, {"g", "kg", 850, 0.85}, {"years", "months", 2, 24}, {"d", "h", 2, 48},
		{"min", "s", 1.5, 90}, {"/15s", "/min", 7, 28}, {"/30s", "/min", 7, 14}, {"weeks", "d", 3, 21}, {"kg", "kg", 3.3, 3.3},
	} {
		u, _ := ParseUnit(c.from)
		v, _ := ParseUnit(c.to)
		if !u.Same(v) {
			t.Errorf("%s and %s measure different things", c.from, c.to)
		}
		if got := u.To(v).Apply(c.x); math.Abs(got-c.want) > 1e-12*math.Abs(c.want) {
			t.Errorf("%v %s is %v %s, want %v", c.x, c.from, got, c.to, c.want)
		}
	}
	for alias := range aliases {
		if _, ok := UnitInCell(alias); !ok {
			t.Errorf("spelling %q leads to no unit", alias)
		}
	}
}
