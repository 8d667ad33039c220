// Package benchdata writes exports of any size for measuring a load: calls and
// their checks as a telephone system would export them, with made-up values
// that mean nothing. Benchmarks only.
package benchdata

import (
	"bufio"
	_ "embed"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"
)

// Descriptions of the two files, for package source.
var (
	//go:embed calls.yaml
	CallsYAML []byte
	//go:embed checks.yaml
	ChecksYAML []byte
)

// ChecksPerCall is the number of checks rows of each call.
const ChecksPerCall = 4

// Write writes calls and their checks to dir and returns the two paths. The
// same number of calls gives the same bytes.
func Write(dir string, calls int) (callsPath, checksPath string, err error) {
	callsPath, checksPath = filepath.Join(dir, "calls-2026-11-01.csv"), filepath.Join(dir, "checks-2026-11-01.csv")
	c, err := create(callsPath)
	if err != nil {
		return "", "", err
	}
	defer c.file.Close()
	k, err := create(checksPath)
	if err != nil {
		return "", "", err
	}
	defer k.file.Close()
	rows(c, k, calls)
	for _, o := range []*output{c, k} {
		if err := o.Flush(); err != nil {
			return "", "", fmt.Errorf("write benchmark data: %w", err)
		}
	}
	return callsPath, checksPath, nil
}

type output struct {
	*bufio.Writer
	file *os.File
}

func create(path string) (*output, error) {
	f, err := os.Create(path)
	if err != nil {
		return nil, err
	}
	return &output{bufio.NewWriterSize(f, 1<<20), f}, nil
}

func rows(calls, checks io.Writer, n int) {
	r := rand.New(rand.NewPCG(1, 2))
	pick := func(s ...string) string { return s[r.IntN(len(s))] }
	fmt.Fprintln(calls, "Call no;Transferred from;Animal no;Owner no;Advisor;Site;Started;Ended;Animal;Sex;Weight;Age;Reason;Advice;Rules;Told;Notes")
	fmt.Fprintln(checks, "Call no;Item;Answer;State;Why;Handling;Version")
	at := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)
	step := 600 * 24 * time.Hour / time.Duration(n)
	const clock = "02.01.2006 15:04"
	for i := range n {
		at = at.Add(step)
		id, from := fmt.Sprintf("C%08d", 10_000_000+i), ""
		if r.IntN(20) == 0 {
			from = fmt.Sprintf("C%08d", 10_000_000+i-1)
		}
		fmt.Fprintf(calls, "%s;%s;A%07d;O%07d;N%02d;%s;%s;%s;%s;%s;%d,%d;%d;%s;%s;2026-%d;%s;\n", id, from, r.IntN(n/2+1), r.IntN(n/3+1), r.IntN(40), pick("north", "south", "east"),
			at.Format(clock), at.Add(time.Duration(r.IntN(1200))*time.Second).Format(clock), pick("Dog", "Dog", "Cat", "Rabbit"), pick("M", "F", "F", "?"),
			1+r.IntN(40), r.IntN(10), r.IntN(16), pick("vomiting", "lump", "breathing", "wound", "not eating", "limping", "fit", "poison"),
			pick("now", "today", "days", "home"), 1+r.IntN(12), pick("y", "n"))
		for range ChecksPerCall {
			item, answer := check(r, pick)
			state, why := "done", ""
			if r.IntN(8) == 0 {
				state, why, answer = "not asked", pick("emergency sign found", "skipped"), ""
			}
			fmt.Fprintf(checks, "%s;%s;%s;%s;%s;%s;v%d\n", id, item, answer, state, why, pick("free", "held", "towel"), 1+r.IntN(3))
		}
	}
}

func check(r *rand.Rand, pick func(...string) string) (item, answer string) {
	switch r.IntN(5) {
	case 0:
		return "GUM", pick("pink", "pink", "pale", "white/grey", "blue")
	case 1:
		return "BREATH", pick("normal", "a bit harder", "very hard")
	case 2:
		return "CRT", fmt.Sprintf("%d,%d", r.IntN(4), r.IntN(10))
	case 3:
		return "RR", fmt.Sprint(10 + r.IntN(60))
	}
	return "T", fmt.Sprintf("%d,%d", 36+r.IntN(5), r.IntN(10))
}
