//go:build unix

package timingtest

import (
	"time"

	"golang.org/x/sys/unix"
)

// Processor is what this process has used so far, DuckDB's threads
// included: on a shared machine the clock tells little.
func Processor() time.Duration {
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		panic(err) // RUSAGE_SELF cannot fail
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
