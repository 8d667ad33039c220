//go:build unix

package pipeline_test

import (
	"os"
	"os/signal"
	"path/filepath"
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

// asNobody runs a child as a user without rights where this one has all of
// them; what it writes goes to the file out.
func (k *killLine) asNobody(t *testing.T, from, out string) error {
	t.Helper()
	to, err := os.Create(out)
	if err != nil {
		t.Fatal(err)
	}
	defer to.Close()
	cmd := k.command(t, from)
	cmd.Stdout, cmd.Stderr = to, to
	if os.Geteuid() == 0 {
		// The folders of a test are its user's own, and so is the binary's.
		for _, dir := range []string{filepath.Dir(k.dir), k.dir} {
			if err := os.Chmod(dir, 0o755); err != nil {
				t.Fatal(err)
			}
		}
		binary := filepath.Join(k.dir, "child.test")
		if err := os.Link(cmd.Path, binary); err != nil { // another disk
			if err := copyFile(cmd.Path, binary); err != nil {
				t.Fatal(err)
			}
		}
		defer os.Remove(binary)
		cmd.Path, cmd.Args[0], cmd.Dir = binary, binary, k.dir
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	}
	return cmd.Run()
}

func copyFile(from, to string) error {
	data, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	return os.WriteFile(to, data, 0o755)
}
