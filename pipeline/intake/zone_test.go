package intake

import (
	"math/rand/v2"
	"testing"
	"time"

	"hindcheck/pipeline/source"
)

// Every moment of a zone comes back from its local clock: exactly where the
// clock shows it once, and as one of the two where it shows it twice.
func TestZoneRoundTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for _, name := range []string{"Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "Pacific/Apia", "Africa/Casablanca", "UTC", "America/Sao_Paulo"} {
		loc, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		early := newZone(&source.Description{Zone: loc, Overlap: source.Earlier, Gap: source.ShiftForward})
		late := newZone(&source.Description{Zone: loc, Overlap: source.Later, Gap: source.ShiftForward})
		for range 60_000 {
			at := time.Unix(631152000+r.Int64N(1.3e9), 0)
			if r.IntN(2) == 0 { // near a change of the clock
				if _, end := at.In(loc).ZoneBounds(); !end.IsZero() {
					at = end.Add(time.Duration(r.IntN(12*3600)-6*3600) * time.Second)
				}
			}
			_, offset := at.In(loc).Zone()
			clock := at.UnixMicro() + int64(offset)*micro
			a, what, ok := early.utc(clock, false)
			b, what2, ok2 := late.utc(clock, false)
			if !ok || !ok2 || what != what2 || what == never {
				t.Fatalf("%s %v: %v %v", name, at.In(loc), what, what2)
			}
			switch {
			case what == plainTime && (a != at.UnixMicro() || b != a):
				t.Fatalf("%s %v: got %v", name, at.In(loc), time.UnixMicro(a).In(loc))
			case what == twice && (a >= b || a != at.UnixMicro() && b != at.UnixMicro()):
				t.Fatalf("%s %v: got %v and %v", name, at.In(loc), time.UnixMicro(a).In(loc), time.UnixMicro(b).In(loc))
			}
		}
	}
}

// The rule of the European Union since 1996 (directive 2000/84/EC): clocks go
// from 1:00 to 2:00 UTC on the last Sundays of March and October.
func TestZoneChanges(t *testing.T) {
	loc, _ := time.LoadLocation("Europe/Berlin")
	z := newZone(&source.Description{Zone: loc, Overlap: source.OverlapAside, Gap: source.GapAside})
	for clock, want := range map[string]local{"2026-03-29T01:59:59": plainTime, "2026-03-29T02:00:00": never, "2026-03-29T02:59:59": never, "2026-03-29T03:00:00": plainTime,
		"2026-10-25T01:59:59": plainTime, "2026-10-25T02:00:00": twice, "2026-10-25T02:59:59": twice, "2026-10-25T03:00:00": plainTime} {
		at, err := time.Parse("2006-01-02T15:04:05", clock)
		if err != nil {
			t.Fatal(err)
		}
		if _, what, ok := z.utc(at.UnixMicro(), false); what != want || ok != (want == plainTime) {
			t.Errorf("%s: %v, %v; want %v", clock, what, ok, want)
		}
	}
}
