//go:build !unix

package main

import "time"

var started = time.Now()

// processorTime is the time by the clock where the system is not asked.
func processorTime() time.Duration { return time.Since(started) }
