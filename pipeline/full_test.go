package pipeline_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"hindcheck/pipeline"
	"hindcheck/pipeline/store"
	"hindcheck/pipeline/store/storetest"
)

// diskFaults asks for every operation with every fault, which takes minutes.
const diskFaults = "LOAD_FAULTS"

// Every operation of a load in turn meets a full disk or a refused write, once
// or from then on. The error is named with its remedy, the store is as before
// (or, once the manifest is renamed, as after, and the error says so), and the
// next load works. By default each operation meets one of the faults;
// LOAD_FAULTS=all is the long run.
func TestDiskFaultsAtEveryOperation(t *testing.T) {
	k := newKillLine(t, "load")
	faults := []storetest.Failing{{Err: syscall.ENOSPC, Stays: true}, {Err: syscall.EACCES}, {Err: syscall.EROFS, Stays: true}, {Err: syscall.ENOSPC}, {Err: syscall.EACCES, Stays: true}}
	all := os.Getenv(diskFaults) == "all"
	states := map[string]int{}
	for at := 1; ; at++ {
		work := faults
		if !all {
			work = faults[at%len(faults):][:1]
		}
		if testing.Short() && at%5 != 1 {
			continue
		}
		ended := false
		for _, f := range work {
			f.At = at
			state := k.fault(t, &f, all || at%3 == 0)
			ended = ended || state == ""
			states[state]++
		}
		if ended {
			break
		}
	}
	t.Logf("states found: %v", states)
	if states["before"] == 0 || !testing.Short() && states["after"] == 0 {
		t.Errorf("states found: %v; want both", states)
	}
}

// fault loads on a disk that fails, and returns what the store is as; "" if
// the load ended before the disk failed. With finish, the next load is tried.
func (k *killLine) fault(t *testing.T, disk *storetest.Failing, finish bool) (state string) {
	t.Helper()
	work := filepath.Join(t.TempDir(), "store")
	copyTree(t, k.base, work)
	opt := loadOptions(t, k.dir)
	opt.Store, opt.Exports, opt.FS = work, k.next, disk
	_, err := pipeline.Load(context.Background(), opt)
	if disk.Failed == "" {
		if err != nil {
			t.Fatal(err)
		}
		return ""
	}
	if !errors.Is(err, disk.Err) {
		t.Fatalf("operation %d (%s) failed: error %v; want %v", disk.At, disk.Failed, err, disk.Err)
	}
	applied := errors.Is(err, store.ErrApplied)
	if !applied && !strings.Contains(err.Error(), remedy(disk.Err)) {
		t.Errorf("operation %d (%s) failed: message %q; want the remedy", disk.At, disk.Failed, err)
	}
	state = k.state(t, work)
	if applied != (state == "after") {
		t.Errorf("operation %d (%s) failed: store is as %s the load, but the error is %q", disk.At, disk.Failed, state, err)
	}
	if finish {
		k.finish(t, work)
	}
	return state
}

func remedy(err error) string {
	if errors.Is(err, syscall.ENOSPC) {
		return "make space on the disk"
	}
	return "give this user the right to write"
}

// The parts that the reader and DuckDB write do not pass through store.FS:
// here no file may grow beyond a limit, in a process of its own.
func TestFilesThatCannotBeWritten(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("windows has no limit on the size of a file")
	}
	k := newKillLine(t, "load")
	for _, limit := range []string{"100", "3000", "8000"} {
		store := filepath.Join(t.TempDir(), "store")
		copyTree(t, k.base, store)
		c := k.startChild(t, store, "LOAD_CHILD_LIMIT="+limit)
		if err := <-c.done; err == nil {
			t.Errorf("limit of %s bytes: the load went through", limit)
		}
		if out := c.out.String(); !strings.Contains(strings.ToLower(out), "file too large") || strings.Contains(out, "panic") {
			t.Errorf("limit of %s bytes: message %q; want one that names a file that is too large", limit, out)
		}
		if state := k.check(t, store); state != "before" {
			t.Errorf("limit of %s bytes: store is as %s the load", limit, state)
		}
	}
}

func TestStoreThatMayNotBeWritten(t *testing.T) {
	if os.Geteuid() == 0 || runtime.GOOS == "windows" {
		t.Skip("needs a user for whom permissions count")
	}
	k := newKillLine(t, "load")
	work := filepath.Join(t.TempDir(), "store")
	copyTree(t, k.base, work)
	if err := os.Chmod(work, 0o500); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.Chmod(work, 0o700) })
	opt := loadOptions(t, k.dir)
	opt.Store, opt.Exports = work, k.next
	_, err := pipeline.Load(context.Background(), opt)
	if !errors.Is(err, os.ErrPermission) || !strings.Contains(err.Error(), "--store") {
		t.Errorf("load into a folder that may not be written: %v; want the remedy", err)
	}
	if got := digest(t, work, 0); got != k.before {
		t.Error("a store that may not be written could not be read, or has changed")
	}
}
