//go:build !unix

package timingtest

import "time"

var started = time.Now()

// Processor is the time by the clock where the system is not asked.
func Processor() time.Duration { return time.Since(started) }
