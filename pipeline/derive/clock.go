package derive

import (
	"context"
	"database/sql"
	"fmt"
)

// hour, in microseconds.
const hour = int64(3_600_000_000)

// Shifts tells how far, in microseconds, the clock of a zone is ahead of UTC at n
// moments that lie step apart, the first at from. It is asked of the engine that
// sorted the calls into months, so that the two never differ.
type Shifts func(zone string, from, step int64, n int) ([]int64, error)

// ShiftsOf asks DuckDB.
func ShiftsOf(ctx context.Context, db *sql.DB) Shifts {
	return func(zone string, from, step int64, n int) ([]int64, error) {
		rows, err := db.QueryContext(ctx, `SELECT epoch_us(timezone($1, make_timestamptz($2 + i * $3))) - ($2 + i * $3) FROM range($4) moments(i) ORDER BY i`, zone, from, step, n)
		if err != nil {
			return nil, fmt.Errorf("clock of %s: %w", zone, err)
		}
		defer rows.Close()
		out := make([]int64, 0, n)
		for rows.Next() {
			var shift int64
			if err := rows.Scan(&shift); err != nil {
				return nil, fmt.Errorf("clock of %s: %w", zone, err)
			}
			out = append(out, shift)
		}
		return out, rows.Err()
	}
}

// clock looks up local times by day, by hour where the clock was changed on the
// day, and by second where it was changed in the hour: asking for every moment was
// a sixth of a load.
type clock struct {
	shifts Shifts
	zones  map[string]*zoneClock
}

// zoneClock holds what is known of one zone.
type zoneClock struct {
	spans   [len(levels)]map[int64]span // by their start in microseconds
	seconds map[int64]int64
}

// span is a day or an hour: its shift, if both its ends have the same.
type span struct {
	shift int64
	same  bool
}

// levels are the lengths of spans, and how many are looked up at a time.
var levels = [2]struct {
	length int64
	n      int64
}{{24 * hour, 64}, {hour, 24}}

func newClock(s Shifts) *clock { return &clock{s, map[string]*zoneClock{}} }

// local returns the microseconds of the local clock at a moment.
func (c *clock) local(zone string, at int64) (int64, error) {
	z, ok := c.zones[zone]
	if !ok {
		z = &zoneClock{[len(levels)]map[int64]span{{}, {}}, map[int64]int64{}}
		c.zones[zone] = z
	}
	for i, l := range levels {
		s, known := z.spans[i][floor(at, l.length)]
		if !known {
			if err := c.look(z.spans[i], zone, floor(at, l.n*l.length), l.length, int(l.n)); err != nil {
				return 0, err
			}
			s = z.spans[i][floor(at, l.length)]
		}
		if s.same {
			return at + s.shift, nil
		}
	}
	return c.second(z, zone, at)
}

// look looks up n spans from one moment on.
func (c *clock) look(into map[int64]span, zone string, from, length int64, n int) error {
	firsts, err := c.shifts(zone, from, length, n)
	if err != nil {
		return err
	}
	lasts, err := c.shifts(zone, from+length-1, length, n)
	if err != nil {
		return err
	}
	if len(firsts) != n || len(lasts) != n {
		return fmt.Errorf("clock of %s: %d and %d shifts, expected %d", zone, len(firsts), len(lasts), n)
	}
	for i := range n {
		into[from+int64(i)*length] = span{firsts[i], firsts[i] == lasts[i]}
	}
	return nil
}

// second looks a moment up in an hour in which the clock was changed; clocks are
// changed at whole seconds.
func (c *clock) second(z *zoneClock, zone string, at int64) (int64, error) {
	const second = int64(1_000_000)
	s := floor(at, second)
	if shift, ok := z.seconds[s]; ok {
		return at + shift, nil
	}
	from := floor(at, hour)
	list, err := c.shifts(zone, from, second, 3600)
	if err != nil {
		return 0, err
	}
	for i, shift := range list {
		z.seconds[from+int64(i)*second] = shift
	}
	return at + z.seconds[s], nil
}

// floor returns the last multiple of step that is not after at.
func floor(at, step int64) int64 {
	m := at % step
	if m < 0 {
		m += step
	}
	return at - m
}
