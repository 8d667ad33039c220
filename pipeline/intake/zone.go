package intake

import (
	"time"

	"hindcheck/pipeline/source"
)

// zone turns local times into UTC. Days without a change of the clock, which
// are nearly all, are remembered with their offset.
type zone struct {
	loc     *time.Location
	overlap source.Overlap
	gap     source.Gap
	days    [512]zoneDay
}

type zoneDay struct {
	day    int64 // since 1970, plus 1 so that the zero value is no day
	plain  bool
	offset int64 // microseconds
}

func newZone(d *source.Description) *zone {
	z := &zone{loc: d.Zone, overlap: d.Overlap, gap: d.Gap}
	if z.loc == nil {
		z.loc = time.UTC
	}
	return z
}

const (
	micro     = int64(1_000_000)
	dayMicros = 86400 * micro
)

// local says what sort of local time was met.
type local uint8

const (
	plainTime local = iota
	twice           // in the hour that is repeated
	never           // in the hour that is skipped
)

// utc converts microseconds on the local clock. ok is false when the time is
// ambiguous or skipped and the description sets such rows aside.
func (z *zone) utc(at int64, zoned bool) (utc int64, what local, ok bool) {
	if zoned {
		return at, plainTime, true
	}
	day := at / dayMicros
	if at < 0 && at%dayMicros != 0 {
		day--
	}
	d := &z.days[uint64(day)%uint64(len(z.days))]
	if d.day != day+1 {
		*d = z.look(day)
	}
	if d.plain {
		return at - d.offset, plainTime, true
	}
	return z.changeDay(at)
}

// margin keeps days next to a change of the clock out of the plain ones.
const margin = 26 * 3600

// look finds out whether one offset holds all through a local day.
func (z *zone) look(day int64) zoneDay {
	t := time.Unix(day*86400+43200, 0).In(z.loc)
	_, offset := t.Zone()
	from, to := t.ZoneBounds()
	first, last := day*86400-margin, (day+1)*86400+margin
	plain := (from.IsZero() || from.Unix() <= first) && (to.IsZero() || to.Unix() >= last)
	return zoneDay{day + 1, plain, int64(offset) * micro}
}

// changeDay converts a time near a change of the clock: the offsets before and
// after it are both tried.
func (z *zone) changeDay(at int64) (utc int64, what local, ok bool) {
	before, after := z.offset(at-margin*micro), z.offset(at+margin*micro)
	a, b := at-before, at-after
	aOK, bOK := z.offset(a) == before, z.offset(b) == after
	switch {
	case aOK && bOK && a != b:
		if z.overlap == source.Later {
			a = b
		}
		return a, twice, z.overlap != source.OverlapAside
	case aOK:
		return a, plainTime, true
	case bOK:
		return b, plainTime, true
	}
	return a, never, z.gap == source.ShiftForward
}

// other returns the other instant at which the local clock shows the same time;
// there is one in an hour that is repeated.
func (z *zone) other(utc int64) (int64, bool) {
	at := utc + z.offset(utc)
	before, after := z.offset(utc-margin*micro), z.offset(utc+margin*micro)
	a, b := at-before, at-after
	if a == b || z.offset(a) != before || z.offset(b) != after {
		return 0, false
	}
	if utc == a {
		return b, true
	}
	return a, true
}

// offset returns the zone's offset at an instant, both in microseconds.
func (z *zone) offset(utc int64) int64 {
	_, o := time.UnixMicro(utc).In(z.loc).Zone()
	return int64(o) * micro
}
