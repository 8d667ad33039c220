package pipeline_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/pipeline"
	"hindcheck/pipeline/store"
)

// Of two processes that load into one store, one is told that another load is
// at work; nothing is mixed, and the second may try again.
func TestTwoLoadsInTwoProcesses(t *testing.T) {
	k := newKillLine(t, "load")
	work := filepath.Join(k.dir, "held")
	copyTree(t, k.base, work)
	tx, err := store.Begin(store.Disk{}, work)
	if err != nil {
		t.Fatal(err)
	}
	c := k.startChild(t, work)
	if err := <-c.done; err == nil || !strings.Contains(c.out.String(), store.ErrBusy.Error()) {
		t.Errorf("load beside another: %v, %s; want %q", err, c.out.String(), store.ErrBusy)
	}
	if err := tx.Close(); err != nil {
		t.Fatal(err)
	}
	if state := k.check(t, work); state != "before" {
		t.Errorf("the refused load left the state %s", state)
	}
	race := filepath.Join(k.dir, "race")
	copyTree(t, k.base, race)
	refused := 0
	children := []*child{k.startChild(t, race), k.startChild(t, race)}
	for _, c := range children {
		if err := <-c.done; err != nil {
			refused++
			if !strings.Contains(c.out.String(), store.ErrBusy.Error()) {
				t.Errorf("one of two loads: %v, %s; want %q", err, c.out.String(), store.ErrBusy)
			}
		}
	}
	t.Logf("of two loads at once %d was refused", refused)
	if state := k.check(t, race); state != "after" || refused == 2 {
		t.Errorf("after two loads at once the state is as %s, %d refused; want one load done", state, refused)
	}
}

// A reader in another process sees whole states only, in the order in which
// they came, while a load is committed, refused rows enter and records are erased.
func TestReadersSeeWholeStates(t *testing.T) {
	dir := demoLine(t, fewCalls)
	all := filepath.Join(dir, "exports")
	opt := loadOptions(t, dir)
	opt.Exports, opt.Sources = []string{filepath.Join(all, "*-2026-05_*")}, []string{sourcesWithHoles(t, dir)}
	load(t, opt)
	animal, _ := subjects(t, all)
	states := []string{digest(t, opt.Store, 0)}
	r := startReader(t, dir, opt.Store)
	r.until(t, states[0])
	later := loadOptions(t, dir)
	for _, change := range []killLine{{what: "retry", dir: dir, next: []string{all}}, {what: "load", dir: dir, next: later.Exports}, {what: "erase", dir: dir, animal: animal}} {
		if err := change.change(t, opt.Store, nil); err != nil {
			t.Fatalf("%s: %v", change.what, err)
		}
		states = append(states, digest(t, opt.Store, 0))
		r.until(t, states[len(states)-1])
	}
	r.stop(t)
	at := 0
	for i, seen := range r.seen {
		now := slices.Index(states, seen)
		if now < at {
			t.Fatalf("reading %d of %d saw state %d of %d after state %d; want whole states in order", i, len(r.seen), now, len(states), at)
		}
		at = now
	}
	t.Logf("%d readings over %d states", len(r.seen), len(states))
}

// reader is a process that reads a store over and over.
type reader struct {
	c     *child
	lines chan string
	in    io.Closer
	seen  []string
}

const readerMark = "state: "

func startReader(t *testing.T, dir, from string) *reader {
	t.Helper()
	in, feed, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	out, tell, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	k := killLine{what: "read", dir: dir}
	r := &reader{c: &child{cmd: k.command(t, from), done: make(chan error, 1)}, in: feed, lines: make(chan string)}
	r.c.cmd.Stdin, r.c.cmd.Stdout = in, tell
	r.c.start(t)
	_, _ = in.Close(), tell.Close()
	go func() {
		defer close(r.lines)
		for s := bufio.NewScanner(out); s.Scan(); {
			if state, ok := strings.CutPrefix(s.Text(), readerMark); ok {
				r.lines <- state
			}
		}
	}()
	return r
}

// until takes readings until one is of the given state.
func (r *reader) until(t *testing.T, state string) {
	t.Helper()
	late := time.After(2 * time.Minute)
	for {
		select {
		case seen, ok := <-r.lines:
			if !ok {
				t.Fatalf("the reader ended: %v", <-r.c.done)
			}
			r.seen = append(r.seen, seen)
			if seen == state {
				return
			}
		case <-late:
			t.Fatalf("no reading of the state after %d readings", len(r.seen))
		}
	}
}

// stop ends the reader and takes what it still had to tell.
func (r *reader) stop(t *testing.T) {
	t.Helper()
	if err := r.in.Close(); err != nil {
		t.Fatal(err)
	}
	for seen := range r.lines {
		r.seen = append(r.seen, seen)
	}
	if err := <-r.c.done; err != nil {
		t.Errorf("reader: %v", err)
	}
}

// readOver is the body of a reader: one line a reading, until its input ends.
func readOver(t *testing.T, from string) {
	ended := make(chan struct{})
	go func() {
		_, _ = io.Copy(io.Discard, os.Stdin)
		close(ended)
	}()
	for {
		fmt.Println(readerMark + digest(t, from, 0))
		select {
		case <-ended:
			return
		default:
		}
	}
}

// A store that nobody may write, with or without the file of its lock, can be read.
func TestReadOnlyStoreIsReadable(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("windows has no such permissions on folders")
	}
	k := newKillLine(t, "load")
	for _, lock := range []bool{true, false} {
		work := filepath.Join(k.dir, fmt.Sprintf("lock-%v", lock))
		copyTree(t, k.base, work)
		if !lock {
			for _, name := range []string{".readers.lock", ".writer.lock"} {
				if err := os.Remove(filepath.Join(work, name)); err != nil && !os.IsNotExist(err) {
					t.Fatal(err)
				}
			}
		}
		readOnly(t, work)
		child := killLine{what: "read", dir: k.dir}
		out := filepath.Join(t.TempDir(), "out")
		if err := child.asNobody(t, work, out); err != nil {
			data, _ := os.ReadFile(out)
			t.Fatalf("with a lock %v: %v\n%s", lock, err, data)
		}
		data, err := os.ReadFile(out)
		if err != nil || !strings.Contains(string(data), readerMark+k.before+"\n") {
			t.Errorf("with a lock %v: %v, read %q; want %q", lock, err, data, k.before)
		}
		if st, err := pipeline.Verify(context.Background(), work, 2); err != nil || len(st.Faults) > 0 {
			t.Errorf("with a lock %v: %+v, %v; want a sound store", lock, st, err)
		}
	}
}

// readOnly takes the right to write from everybody.
func readOnly(t *testing.T, dir string) {
	t.Helper()
	modes := func(file, folder os.FileMode) {
		err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if d.IsDir() {
				return os.Chmod(path, folder)
			}
			return os.Chmod(path, file)
		})
		if err != nil {
			t.Error(err)
		}
	}
	modes(0o444, 0o555)
	t.Cleanup(func() { modes(0o644, 0o755) })
}
