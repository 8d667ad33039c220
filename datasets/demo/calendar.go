package demo

import (
	"fmt"
	"sort"
	"time"
	_ "time/tzdata" // the exports hold local times: the zone must be known wherever this runs
)

// Zone is the time zone of the line's local times. The place is invented, the
// clock changes are real.
const Zone = "Europe/Berlin"

// zone turns Unix seconds into local wall-clock seconds without allocating.
type zone struct {
	until  []int64 // offset[i] holds before until[i]
	offset []int64
}

func newZone(loc *time.Location, from, to time.Time) zone {
	var z zone
	for t := from; t.Before(to); {
		_, end := t.In(loc).ZoneBounds()
		_, off := t.In(loc).Zone()
		until := to.Unix()
		if !end.IsZero() && end.Before(to) {
			until = end.Unix()
		} else {
			end = to
		}
		z.until, z.offset = append(z.until, until), append(z.offset, int64(off))
		t = end
	}
	return z
}

// local returns the wall clock as if it were UTC, in seconds.
func (z zone) local(unix int64) int64 {
	for i, u := range z.until {
		if unix < u {
			return unix + z.offset[i]
		}
	}
	return unix + z.offset[len(z.offset)-1]
}

// repeated reports whether the wall clock at that moment is shown twice on
// that day, because daylight saving ends.
func (z zone) repeated(unix int64) bool {
	for i := 0; i+1 < len(z.until); i++ {
		back := z.offset[i] - z.offset[i+1]
		if back > 0 && unix >= z.until[i]-back && unix < z.until[i]+back {
			return true
		}
	}
	return false
}

// Relative demand by hour of the day, weekday (Sunday first) and month: pets
// fall ill at any hour, but owners notice after work and at weekends.
var (
	hourWeight = [24]float64{0.55, 0.40, 0.30, 0.26, 0.26, 0.32, 0.55, 0.90, 1.20, 1.30, 1.30, 1.20,
		1.10, 1.05, 1.10, 1.15, 1.30, 1.60, 1.90, 2.00, 1.85, 1.50, 1.10, 0.80}
	weekdayWeight = [7]float64{1.35, 0.92, 0.90, 0.90, 0.92, 0.98, 1.30}
	monthWeight   = [13]float64{0, 0.92, 0.90, 0.96, 1.02, 1.08, 1.12, 1.12, 1.08, 1.00, 0.96, 0.92, 1.02}
)

// minRepeated is the least expected number of units in each clock hour that
// daylight saving repeats, at the default size, so that every seed has some.
const minRepeated = 4.0

// calendar places units in time by the demand of each hour.
type calendar struct {
	from, to time.Time
	zone     zone
	hours    int
	cum      []float64 // cum[h] is the demand before hour h; hours+1 entries
	units    int
	at       int     // hour of the last placement, a starting point for the next
	months   []int   // yyyymm of each export month
	starts   []int64 // Unix second at which each export month begins, and the end
}

func newCalendar(from, to time.Time, units int) (*calendar, error) {
	loc, err := time.LoadLocation(Zone)
	if err != nil {
		return nil, fmt.Errorf("load time zone %s: %w", Zone, err)
	}
	c := &calendar{from: from.In(loc), to: to.In(loc), units: units}
	c.hours = int(to.Sub(from) / time.Hour)
	// Outcomes and late exports run past the end of the calls.
	c.zone = newZone(loc, from.AddDate(0, -2, 0), to.AddDate(1, 0, 0))
	c.fillDemand()
	c.fillMonths(loc)
	return c, nil
}

func (c *calendar) fillDemand() {
	c.cum = make([]float64, c.hours+1)
	weight := make([]float64, c.hours)
	total := 0.0
	for h := range weight {
		unix := c.from.Unix() + int64(h)*3600
		t := time.Unix(c.zone.local(unix), 0).UTC()
		growth := 1 + 0.12*float64(h)/float64(c.hours)
		weight[h] = hourWeight[t.Hour()] * weekdayWeight[t.Weekday()] * monthWeight[t.Month()] * growth
		total += weight[h]
	}
	floor := minRepeated * total / float64(c.units)
	for h := range weight {
		unix := c.from.Unix() + int64(h)*3600
		if c.units >= 10000 && c.zone.repeated(unix) && weight[h] < floor {
			weight[h] = floor
		}
		c.cum[h+1] = c.cum[h] + weight[h]
	}
}

func (c *calendar) fillMonths(loc *time.Location) {
	for t := c.from; t.Before(c.to); {
		c.months = append(c.months, t.Year()*100+int(t.Month()))
		c.starts = append(c.starts, t.Unix())
		t = time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, loc)
	}
	c.starts = append(c.starts, c.to.Unix())
}

// place returns the Unix second at which unit i begins. Units are spread in
// order over the demand, each at a random point of its own share, so that
// memory does not grow with their number and the files are nearly in order.
func (c *calendar) place(i int, u float64) int64 {
	x := (float64(i) + u) / float64(c.units) * c.cum[c.hours]
	for c.at < c.hours-1 && c.cum[c.at+1] <= x {
		c.at++
	}
	if x < c.cum[c.at] {
		c.at = sort.SearchFloat64s(c.cum, x) - 1
	}
	c.at = min(max(c.at, 0), c.hours-1)
	part := (x - c.cum[c.at]) / (c.cum[c.at+1] - c.cum[c.at])
	sec := min(max(int64(part*3600), 0), 3599)
	return c.from.Unix() + int64(c.at)*3600 + sec
}

// month returns the export month that a moment falls in, -1 before the first
// and len(months) after the last.
func (c *calendar) month(unix int64) int {
	if unix < c.starts[0] {
		return -1
	}
	for i := len(c.starts) - 1; i >= 0; i-- {
		if unix >= c.starts[i] {
			return i
		}
	}
	return -1
}

// nextMonday returns the Unix second of the first local midnight that begins a
// Monday at or after the given moment, to within a change of daylight saving.
func (c *calendar) nextMonday(unix int64) int64 {
	local := c.zone.local(unix)
	day := (local + 86399) / 86400 // first midnight at or after
	day += (4 - day%7 + 7) % 7     // day 0 was a Thursday, day 4 a Monday
	return day*86400 - (local - unix)
}
