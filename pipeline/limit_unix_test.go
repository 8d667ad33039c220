//go:build unix

package pipeline_test

import (
	"os"
	"os/signal"
	"strconv"
	"syscall"
	"testing"
)

// childLimit bounds the size in bytes of a file that a child may write, as a
// full disk would; the error then is "file too large".
const childLimit = "LOAD_CHILD_LIMIT"

func limitFiles(t *testing.T) {
	t.Helper()
	s := os.Getenv(childLimit)
	if s == "" {
		return
	}
	n, err := strconv.ParseUint(s, 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	signal.Ignore(syscall.SIGXFSZ)
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: n, Max: n}); err != nil {
		t.Fatal(err)
	}
}
