package resolve

import "fmt"

// DuckDB asks its calendar library for every time of a zone, and for every
// difference of two times with a zone: two microseconds each, which was a sixth
// of a load. Times are therefore compared as numbers of microseconds, and the
// shift of the local clock is looked up once an hour and zone.

// hourMicros is an hour as epoch_us counts it.
const hourMicros = 3_600_000_000

// hourOf makes the number of the UTC hour of a time, also before 1970.
func hourOf(at string) string {
	return fmt.Sprintf("((epoch_us(%[1]s) - ((epoch_us(%[1]s) %% %[2]d + %[2]d) %% %[2]d)) // %[2]d)", at, int64(hourMicros))
}

// clockSQL makes a SELECT of clock_zone, clock_hour and shift, one row for each
// zone and UTC hour in which a row of the relation (zone, started_at) starts:
// how far, in microseconds, the local clock is ahead of UTC. It is NULL for an
// hour in which the clock was changed.
func clockSQL(relation string) string {
	return fmt.Sprintf(`SELECT clock_zone, clock_hour, CASE WHEN last - first = %[1]d - 1 THEN first - clock_hour * %[1]d END AS shift FROM (
		SELECT clock_zone, clock_hour, epoch_us(timezone(clock_zone, make_timestamptz(clock_hour * %[1]d))) AS first,
			epoch_us(timezone(clock_zone, make_timestamptz(clock_hour * %[1]d + %[1]d - 1))) AS last
		FROM (SELECT DISTINCT coalesce(zone, 'UTC') AS clock_zone, %[2]s AS clock_hour FROM (%[3]s)))`, int64(hourMicros), hourOf("started_at"), relation)
}

// onClock joins a row with its line of a clock relation.
var onClock = "coalesce(zone, 'UTC') = clock_zone AND " + hourOf("started_at") + " = clock_hour"

// localStart makes the time on the caller's clock at which a row joined with
// its clock starts; a row without a zone is taken as UTC.
const localStart = `coalesce(make_timestamp(epoch_us(started_at) + shift), timezone(coalesce(zone, 'UTC'), started_at))`
