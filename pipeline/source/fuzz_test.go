package source

import (
	"math"
	"regexp"
	"strconv"
	"testing"
	"time"
)

var decimalForm = regexp.MustCompile(`^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)$`)

// Decimal takes exactly sign, digits and decimal part, up to 64 bytes, and
// gives the same bits as package strconv; the decimal sign changes nothing else.
func FuzzDecimal(f *testing.F) {
	for _, s := range []string{"", "0", "-0", "38.5", "+.5", "5.", ".", "1e3", "0x1", "1_0", "123456789012345", "1234567890123456", "0.30000000000000004",
		"9007199254740993", "00000000000000000000.1", "--1", "1-", "inf", "1.2.3", "٣"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, ok := Decimal([]byte(s), '.')
		want, err := strconv.ParseFloat(s, 64)
		if fits := decimalForm.MatchString(s) && (len(s) <= 64 || digits(s) <= 15); ok != fits {
			t.Fatalf("%q: read %v, want %v", s, ok, fits)
		}
		if ok && (err != nil || math.Float64bits(got) != math.Float64bits(want)) {
			t.Fatalf("%q: %v, package strconv %v, %v", s, got, want, err)
		}
		comma := []byte(s)
		for i, c := range comma {
			if c == '.' {
				comma[i] = ','
			} else if c == ',' {
				comma[i] = '.'
			}
		}
		if v, cok := Decimal(comma, ','); cok != ok || math.Float64bits(v) != math.Float64bits(got) {
			t.Fatalf("%q: %v, %v with a comma, %v, %v with a point", s, v, cok, got, ok)
		}
	})
}

func digits(s string) (n int) {
	for _, c := range s {
		if c >= '0' && c <= '9' {
			n++
		}
	}
	return n
}

// A layout that is accepted reads back every moment that it wrote, as far as
// it states it, and never another day than package time reads.
func FuzzLayout(f *testing.F) {
	for _, layout := range []string{"2006-01-02", "02.01.2006 15:04", "02.01.2006 15:04:05", "2006-01-02T15:04:05Z07:00", "2006-01-02 15:04:05-0700", "1/2/06 15:04",
		"20060102", "02-Jan-2006 15:04", "January 2, 2006 3:04 PM", "serial-1900", "serial-1904", "unix", "unix-ms", "days-since-2000-01-01", "2006 2006-01-02", "02.01.2006 24:00"} {
		f.Add(layout, "2026-03-29 02:30", int64(1_790_000_000))
		f.Add(layout, "45123.5", int64(-1))
	}
	f.Fuzz(func(t *testing.T, layout, text string, unix int64) {
		l, err := ParseLayout(layout)
		if err != nil {
			return
		}
		m, ok := l.Parse([]byte(text))
		if l.Counts() {
			return
		}
		if want, err := time.Parse(layout, text); ok && err == nil && !m.Midnight24 && m.Micros != want.UnixMicro() {
			t.Errorf("%q: %q is %d, package time %d", layout, text, m.Micros, want.UnixMicro())
		}
		at := time.Unix(((unix%3e9)+3e9)%3e9, 0).UTC() // 1970 to 2065
		written := at.Format(layout)
		want, err := time.Parse(layout, written)
		if err != nil || want.Day() != at.Day() || want.Month() != at.Month() || want.Year() != at.Year() {
			return // two-digit years beyond their century, or a layout that states a part twice
		}
		m, ok = l.Parse([]byte(written))
		if !ok || m.Micros != want.UnixMicro() {
			t.Errorf("%q: wrote %q and read %d, %v; package time %d", layout, written, m.Micros, ok, want.UnixMicro())
		}
	})
}
