package sandbox

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// headroomMB is what the process may take beside the engine's memory: the Go
// heap, stacks, and the allocator's slack.
const headroomMB = 512

// confine bounds this process for good: its address space, its processor
// time, and writing to any file at all.
func confine(req Request) error {
	size, err := addressSpaceMB()
	if err != nil {
		return err
	}
	space := uint64(size+req.MemoryMB+headroomMB) << 20
	// The parent's deadline counts time on the wall; this one holds if the
	// parent is gone.
	seconds := uint64(req.Limit.Seconds()*64) + 10
	for _, l := range []struct {
		what     string
		resource int
		max      uint64
	}{
		{"address space", unix.RLIMIT_AS, space}, {"file size", unix.RLIMIT_FSIZE, 0},
		{"processor time", unix.RLIMIT_CPU, seconds}, {"core dumps", unix.RLIMIT_CORE, 0},
	} {
		if err := unix.Setrlimit(l.resource, &unix.Rlimit{Cur: l.max, Max: l.max}); err != nil {
			return fmt.Errorf("limit the %s: %w", l.what, err)
		}
	}
	return unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0)
}

// addressSpaceMB is what this process has mapped already.
func addressSpaceMB() (int, error) {
	data, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0, err
	}
	for line := range strings.Lines(string(data)) {
		var kb int
		if n, _ := fmt.Sscanf(line, "VmSize: %d kB", &kb); n == 1 {
			return kb / 1024, nil
		}
	}
	return 0, fmt.Errorf("/proc/self/status: expected a line VmSize")
}

// bind makes the child end with the thread that started it, and gives it a
// process group of its own.
func bind(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
}
