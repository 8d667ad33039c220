package queriestest

import (
	"os"
	"strconv"
	"testing"
)

// InventedCalls of the demonstration line are multiplied to the size of a
// benchmark. Copies repeat which flags fired together: of few calls they would make
// grouping by flags cheaper than it is on a line of that size.
const InventedCalls = 1_000_000

// BenchCalls is the number of calls that HINDCHECK_BENCH_CALLS asks a benchmark
// for, or otherwise.
func BenchCalls(b testing.TB, otherwise int) int {
	b.Helper()
	text := os.Getenv("HINDCHECK_BENCH_CALLS")
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		b.Fatalf("HINDCHECK_BENCH_CALLS=%s: expected a number of calls", text)
	}
	return n
}
