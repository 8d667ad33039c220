package pipeline_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// Variables of the environment by which a test starts its own binary as a
// child that changes a store, and by which a longer run is asked for.
const (
	childDir   = "LOAD_CHILD_DIR"   // folder of the line
	childStore = "LOAD_CHILD_STORE" // store to change
	childLoad  = "LOAD_CHILD_EXPORTS"
	childDoes  = "LOAD_CHILD_DOES"   // load, retry, erase or read
	childWhom  = "LOAD_CHILD_ANIMAL" // whose records are erased
	killRuns   = "LOAD_KILLS"        // number of kills, 12 if unset
)

// TestLoadInAChild is no test but the body of the child processes.
func TestLoadInAChild(t *testing.T) {
	dir := os.Getenv(childDir)
	if dir == "" {
		t.Skip("runs only as the child of another test")
	}
	limitFiles(t)
	if os.Getenv(childDoes) == "read" {
		readOver(t, os.Getenv(childStore))
		return
	}
	k := killLine{what: os.Getenv(childDoes), dir: dir, next: filepath.SplitList(os.Getenv(childLoad)), animal: os.Getenv(childWhom)}
	if err := k.change(t, os.Getenv(childStore), nil); err != nil {
		t.Fatalf("%s: %v", k.what, err)
	}
	tellPeak()
}

// child is a load in a process of its own.
type child struct {
	cmd  *exec.Cmd
	out  bytes.Buffer
	done chan error
}

// command makes the child that changes a store as k does.
func (k *killLine) command(t *testing.T, store string, env ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, "-test.run=^TestLoadInAChild$", "-test.v")
	cmd.Env = append(os.Environ(), childDoes+"="+k.what, childDir+"="+k.dir, childStore+"="+store, childWhom+"="+k.animal,
		childLoad+"="+strings.Join(k.next, string(filepath.ListSeparator)))
	cmd.Env = append(cmd.Env, env...)
	return cmd
}

// startChild starts the child and keeps what it writes.
func (k *killLine) startChild(t *testing.T, store string, env ...string) *child {
	t.Helper()
	c := &child{cmd: k.command(t, store, env...), done: make(chan error, 1)}
	c.cmd.Stdout, c.cmd.Stderr = &c.out, &c.out
	c.start(t)
	return c
}

func (c *child) start(t *testing.T) {
	t.Helper()
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() { c.done <- c.cmd.Wait() }()
}

// killLine is a store, a change of it, and what the store is before and after.
type killLine struct {
	// what the change is: load, retry or erase.
	what      string
	dir, base string
	// next are the exports that the change reads; animal is whom it erases.
	next          []string
	animal        string
	before, after string
	// tree is every file of the store after the change.
	tree string
}

// newKillLine makes a small line and a store to which the change is to be made:
// a load of the outcomes, a retry of the rows that a description with holes has
// refused, or the erasure of an animal.
func newKillLine(t *testing.T, what string) killLine {
	t.Helper()
	dir := demoLine(t, demo.Options{Seed: 5, Calls: 60, From: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)})
	all := filepath.Join(dir, "exports")
	k := killLine{what: what, dir: dir, base: filepath.Join(dir, "base"), next: []string{filepath.Join(all, "outcomes-*")}}
	opt := loadOptions(t, dir)
	opt.Store, opt.Exports = k.base, []string{filepath.Join(all, "calls-2026-05_*"), filepath.Join(all, "checks-2026-05_*")}
	switch what {
	case "retry":
		opt.Sources, k.next = []string{sourcesWithHoles(t, dir)}, []string{all}
	case "erase":
		k.animal, _ = subjects(t, all)
	}
	load(t, opt)
	k.before = digest(t, k.base, 0)
	whole := filepath.Join(dir, "whole")
	copyTree(t, k.base, whole)
	k.complete(t, whole)
	k.after, k.tree = digest(t, whole, 0), tree(t, whole)
	if k.before == k.after {
		t.Fatal("the change leaves the store as it was; the test would not notice")
	}
	return k
}

// change carries out the change in this process, on a disk of its own if fs is set.
func (k *killLine) change(t *testing.T, into string, fs store.FS) (err error) {
	t.Helper()
	opt := loadOptions(t, k.dir)
	opt.Store, opt.Exports, opt.FS = into, k.next, fs
	switch k.what {
	case "load":
		_, err = pipeline.Load(context.Background(), opt)
	case "retry":
		_, err = pipeline.Retry(context.Background(), opt, resolve.AsideFilter{})
	case "erase":
		_, err = pipeline.Erase(context.Background(), pipeline.EraseOptions{Store: into, Kind: "animal", Identifier: k.animal, Key: opt.Key,
			Now: opt.Now, Threads: opt.Threads, Software: opt.Software, FS: fs})
	default:
		t.Fatalf("no change %q", k.what)
	}
	return err
}

// complete carries out the change unless it is there already.
func (k *killLine) complete(t *testing.T, store string) {
	t.Helper()
	if err := k.change(t, store, nil); err != nil && !errors.Is(err, pipeline.ErrNobody) {
		t.Fatal(err)
	}
}

// check looks at a store after a change that was ended early: one of the two
// states, and after the next try the files of a store that never was.
func (k *killLine) check(t *testing.T, store string) (state string) {
	t.Helper()
	state = k.state(t, store)
	k.finish(t, store)
	return state
}

func (k *killLine) state(t *testing.T, store string) string {
	t.Helper()
	switch digest(t, store, 0) {
	case k.before:
		return "before"
	case k.after:
		return "after"
	}
	t.Fatal("neither the state before nor the state after")
	return ""
}

// finish makes the change that was not made; the store must then have the same
// files as one whose change was never ended early.
func (k *killLine) finish(t *testing.T, store string) {
	t.Helper()
	k.complete(t, store)
	if got := tree(t, store); got != k.tree {
		t.Errorf("after the next %s the files are\n%s\nwant\n%s", k.what, got, k.tree)
	}
}

// moments of a change, since its process was started.
type moments struct{ staged, renamed, end time.Duration }

// waitStaged waits until the first staged file lies in the store.
func waitStaged(c *child, store string) (err error, ended bool) {
	for {
		if m, _ := filepath.Glob(filepath.Join(store, "staging", "*", "*")); len(m) > 0 {
			return nil, false
		}
		select {
		case err := <-c.done:
			return err, true
		case <-time.After(500 * time.Microsecond):
		}
	}
}

// measure takes the quickest of three runs: a kill that comes too late is none.
func (k *killLine) measure(t *testing.T) (m moments) {
	t.Helper()
	for range 3 {
		if one := k.measureOnce(t); m.end == 0 || one.end < m.end {
			m = one
		}
	}
	return m
}

func (k *killLine) measureOnce(t *testing.T) (m moments) {
	t.Helper()
	store := filepath.Join(t.TempDir(), "store")
	copyTree(t, k.base, store)
	manifest := filepath.Join(store, "manifest.json")
	was, err := os.Stat(manifest)
	if err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	c := k.startChild(t, store)
	if err, ended := waitStaged(c, store); ended {
		t.Fatalf("the load ended before a staged file was seen: %v\n%s", err, c.out.String())
	}
	m.staged = time.Since(start)
	for {
		select {
		case err := <-c.done:
			m.end = time.Since(start)
			if err != nil {
				t.Fatalf("measured load: %v\n%s", err, c.out.String())
			}
			if m.renamed == 0 {
				m.renamed = m.end
			}
			return m
		case <-time.After(500 * time.Microsecond):
			if now, err := os.Stat(manifest); err == nil && m.renamed == 0 && !os.SameFile(was, now) {
				m.renamed = time.Since(start)
			}
		}
	}
}

// A process that loads, retries refused rows or erases is killed at any time:
// half of the times are spread over the whole run, half over the stretch in which
// files are staged, placed and made to count. Twelve kills by default;
// LOAD_KILLS=200 for the long run.
func TestKilledChangeIsWhollyThereOrNotAtAll(t *testing.T) {
	runs := 12
	if testing.Short() {
		runs = 6
	}
	if s := os.Getenv(killRuns); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 6 {
			t.Fatalf("%s=%s: expected a number from 6", killRuns, s)
		}
		runs = n
	}
	kinds := []string{"load", "retry", "erase"}
	for i, what := range kinds {
		t.Run(what, func(t *testing.T) {
			k := newKillLine(t, what)
			k.kill(t, (runs+i)/len(kinds))
		})
	}
}

// kill changes copies of the store in processes that are killed.
func (k *killLine) kill(t *testing.T, runs int) {
	t.Helper()
	m := k.measure(t)
	dice := rand.New(rand.NewPCG(uint64(k.what[0]), uint64(runs)))
	count := map[string]int{}
	var whole, stretch [10]int // kills by tenths: of the run, and of the stretch from the first staged file to the rename
	kills := 0
	for run := 0; kills < runs && run < 3*runs; run++ {
		store := filepath.Join(t.TempDir(), "store")
		copyTree(t, k.base, store)
		start := time.Now()
		c := k.startChild(t, store)
		wait, ended := time.Duration(dice.Float64()*float64(m.end)), false
		if run%2 == 1 {
			wait = time.Duration(dice.Float64() * float64(m.renamed-m.staged))
			_, ended = waitStaged(c, store)
		}
		if !ended {
			select {
			case <-time.After(wait):
				kills++
				whole[min(9, int(10*time.Since(start)/m.end))]++
				if run%2 == 1 {
					stretch[min(9, int(10*wait/max(1, m.renamed-m.staged)))]++
				}
				if err := c.cmd.Process.Kill(); err != nil && !strings.Contains(err.Error(), "finished") {
					t.Fatal(err)
				}
				<-c.done
			case <-c.done:
				ended = true
			}
		}
		left := "nothing staged"
		if found, _ := filepath.Glob(filepath.Join(store, "staging", "*", "*")); len(found) > 0 {
			left = "files staged"
		}
		if ended {
			left = "ended before the kill"
		}
		count[fmt.Sprintf("%s, %s", k.check(t, store), left)]++
	}
	t.Logf("run of %v: first staged file at %v, manifest renamed at %v", m.end, m.staged, m.renamed)
	t.Logf("%d kills by tenths of the run: %v; of the stretch from the first staged file to the rename: %v", kills, whole, stretch)
	t.Logf("states found: %v", count)
}
