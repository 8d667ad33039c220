package derive

import (
	"testing"
	"time"

	"hindcheck/pipeline/duck"
)

// The clock looked up by day, hour and second shows what the calendar shows at
// every moment: at hours in which it is changed, before 1970, in zones that
// shift by half an hour or by odd seconds.
func TestClockEqualsCalendar(t *testing.T) {
	db, err := duck.Open(t.Context(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	shifts := ShiftsOf(t.Context(), db)
	c := newClock(shifts)
	const stepMicros, n = 899_999_999, 600
	for _, zone := range []string{"Europe/Berlin", "Australia/Lord_Howe", "Asia/Kathmandu", "Africa/Monrovia", "UTC"} {
		for _, from := range []time.Time{ // at hours in which some of the clocks are changed
			time.Date(2026, 3, 27, 0, 0, 0, 1000, time.UTC), time.Date(2026, 10, 3, 0, 0, 0, 0, time.UTC),
			time.Date(2026, 4, 4, 0, 0, 0, 0, time.UTC), time.Date(2026, 10, 24, 12, 0, 0, 0, time.UTC), time.Date(1969, 12, 29, 0, 0, 0, 0, time.UTC), time.Date(1972, 1, 6, 0, 0, 0, 0, time.UTC)} {
			want, err := shifts(zone, from.UnixMicro(), stepMicros, n)
			if err != nil {
				t.Fatal(err)
			}
			for i, s := range want {
				at := from.UnixMicro() + int64(i)*stepMicros
				got, err := c.local(zone, at)
				if err != nil {
					t.Fatal(err)
				}
				if got != at+s {
					t.Fatalf("%s at %s: ahead by %d microseconds; want %d", zone, time.UnixMicro(at).UTC(), got-at, s)
				}
			}
		}
	}
	looked := 0
	for _, z := range c.zones {
		looked += len(z.seconds)
	}
	if looked == 0 {
		t.Error("no moment stood in an hour in which a clock was changed")
	}
}
