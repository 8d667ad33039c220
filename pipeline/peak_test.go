package pipeline_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"hindcheck/datasets/demo"
)

// peakCalls asks for a longer run: numbers of calls, rising, with commas
// between them, such as 500000,2000000.
const peakCalls = "LOAD_PEAK_CALLS"

const (
	// mostMemory is what a load may take in all on two processors, in MB.
	mostMemory = 600
	// mostGrowth is how much more a larger load may take than one that already
	// fills what DuckDB is allowed, in MB.
	mostGrowth = 60
	// fillsLimit is the number of calls from which that is so.
	fillsLimit = 2_000_000
)

var peakLine = regexp.MustCompile(`VmHWM:\s+(\d+) kB`)

// The most memory that a load takes at a time, measured by the system in a
// process that does nothing else, stays below the limit and does not grow with
// the load. By default one small load; LOAD_PEAK_CALLS=500000,2000000 is the
// long run.
func TestPeakMemoryOfALoad(t *testing.T) {
	if _, err := os.Stat("/proc/self/status"); err != nil {
		t.Skip("needs /proc, which tells a process's peak")
	}
	sizes := []int{4_000}
	if s := os.Getenv(peakCalls); s != "" {
		sizes = nil
		for _, f := range strings.Split(s, ",") {
			n, err := strconv.Atoi(f)
			if err != nil || n < 1 {
				t.Fatalf("%s=%s: expected numbers of calls with commas between them", peakCalls, s)
			}
			sizes = append(sizes, n)
		}
	}
	full := 0 // peak of the first load that fills the limit
	for _, n := range sizes {
		peak := peakOf(t, n)
		t.Logf("%d calls: peak of %d MB", n, peak)
		if peak > mostMemory {
			t.Errorf("%d calls: peak of %d MB; want at most %d", n, peak, mostMemory)
		}
		if full > 0 && peak > full+mostGrowth {
			t.Errorf("%d calls: peak of %d MB, where a smaller load took %d; want it flat", n, peak, full)
		}
		if full == 0 && n >= fillsLimit {
			full = peak
		}
	}
}

// peakOf loads a line in a process of its own and returns its peak in MB.
func peakOf(t *testing.T, calls int) int {
	t.Helper()
	k := killLine{what: "load", dir: demoLine(t, demo.Options{Seed: 2, Calls: calls})}
	k.next = []string{filepath.Join(k.dir, "exports")}
	return k.peak(t, filepath.Join(k.dir, "store"))
}

// peak makes the change in a process of its own and returns its peak in MB.
func (k *killLine) peak(t *testing.T, into string) int {
	t.Helper()
	c := k.startChild(t, into)
	if err := <-c.done; err != nil {
		t.Fatalf("%s: %v\n%s", k.what, err, c.out.String())
	}
	m := peakLine.FindStringSubmatch(c.out.String())
	if m == nil {
		t.Fatalf("the child does not tell its peak:\n%s", c.out.String())
	}
	kb, err := strconv.Atoi(m[1])
	if err != nil {
		t.Fatal(err)
	}
	return kb / 1024
}

// tellPeak writes a child's peak, where the system knows it.
func tellPeak() {
	data, err := os.ReadFile("/proc/self/status")
	if err == nil {
		fmt.Println(peakLine.FindString(string(data)))
	}
}
