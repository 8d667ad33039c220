package pipeline_test

import (
	"bytes"
	"context"
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
)

// Variables of the environment by which a test starts its own binary as a
// child that loads, and by which a longer run is asked for.
const (
	childDir   = "LOAD_CHILD_DIR"   // folder of the line
	childStore = "LOAD_CHILD_STORE" // store to load into
	childLoad  = "LOAD_CHILD_EXPORTS"
	killRuns   = "LOAD_KILLS" // number of kills, 12 if unset
)

// TestLoadInAChild is no test but the body of the child processes.
func TestLoadInAChild(t *testing.T) {
	dir := os.Getenv(childDir)
	if dir == "" {
		t.Skip("runs only as the child of another test")
	}
	opt := loadOptions(t, dir)
	opt.Store = os.Getenv(childStore)
	opt.Exports = filepath.SplitList(os.Getenv(childLoad))
	limitFiles(t)
	if _, err := pipeline.Load(context.Background(), opt); err != nil {
		t.Fatalf("load: %v", err)
	}
}

// child is a load in a process of its own.
type child struct {
	cmd  *exec.Cmd
	out  bytes.Buffer
	done chan error
}

func startChild(t *testing.T, dir, store string, exports []string, env ...string) *child {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := &child{cmd: exec.Command(self, "-test.run=^TestLoadInAChild$", "-test.v"), done: make(chan error, 1)}
	c.cmd.Stdout, c.cmd.Stderr = &c.out, &c.out
	c.cmd.Env = append(os.Environ(), childDir+"="+dir, childStore+"="+store, childLoad+"="+strings.Join(exports, string(filepath.ListSeparator)))
	c.cmd.Env = append(c.cmd.Env, env...)
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() { c.done <- c.cmd.Wait() }()
	return c
}

// killLine is a store with a load, the exports of the next one, and what the
// store is before and after it.
type killLine struct {
	dir, base     string
	next          []string
	before, after string
	// tree is every file of the store after the next load.
	tree string
}

func newKillLine(t *testing.T) killLine {
	t.Helper()
	dir := demoLine(t, demo.Options{Seed: 5, Calls: 60, From: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)})
	all := filepath.Join(dir, "exports")
	k := killLine{dir: dir, base: filepath.Join(dir, "base"), next: []string{filepath.Join(all, "outcomes-*")}}
	opt := loadOptions(t, dir)
	opt.Store, opt.Exports = k.base, []string{filepath.Join(all, "calls-2026-05_*"), filepath.Join(all, "checks-2026-05_*")}
	load(t, opt)
	k.before = digest(t, k.base, 0)
	whole := filepath.Join(dir, "whole")
	copyTree(t, k.base, whole)
	k.complete(t, whole)
	k.after, k.tree = digest(t, whole, 0), tree(t, whole)
	if k.before == k.after {
		t.Fatal("the next load changes nothing; the test would not notice")
	}
	return k
}

// complete carries out the next load in this process.
func (k *killLine) complete(t *testing.T, store string) {
	t.Helper()
	opt := loadOptions(t, k.dir)
	opt.Store, opt.Exports = store, k.next
	load(t, opt)
}

// check looks at a store after a load that was ended early: one of the two
// states, and after the next load the files of a store that never was.
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

// finish loads what was not loaded; the store must then have the same files as
// one whose load was never ended early.
func (k *killLine) finish(t *testing.T, store string) {
	t.Helper()
	k.complete(t, store)
	if got := tree(t, store); got != k.tree {
		t.Errorf("after the next load the files are\n%s\nwant\n%s", got, k.tree)
	}
}

// moments of a load, since its process was started.
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

func (k *killLine) measure(t *testing.T) (m moments) {
	t.Helper()
	store := filepath.Join(t.TempDir(), "store")
	copyTree(t, k.base, store)
	manifest := filepath.Join(store, "manifest.json")
	was, err := os.Stat(manifest)
	if err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	c := startChild(t, k.dir, store, k.next)
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

// A process that loads is killed at any time: half of the times are spread
// over the whole run, half over the stretch in which files are staged, placed
// and made to count. Twelve kills by default; LOAD_KILLS=200 for the long run.
func TestKilledLoadIsWhollyThereOrNotAtAll(t *testing.T) {
	runs := 12
	if testing.Short() {
		runs = 4
	}
	if s := os.Getenv(killRuns); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 2 {
			t.Fatalf("%s=%s: expected a number from 2", killRuns, s)
		}
		runs = n
	}
	k := newKillLine(t)
	m := k.measure(t)
	dice := rand.New(rand.NewPCG(5, uint64(runs)))
	count := map[string]int{}
	deciles := [10]int{}
	for run := range runs {
		store := filepath.Join(t.TempDir(), "store")
		copyTree(t, k.base, store)
		start := time.Now()
		c := startChild(t, k.dir, store, k.next)
		wait, ended := time.Duration(dice.Float64()*float64(m.end)), false
		if run%2 == 1 {
			wait = time.Duration(dice.Float64() * float64(m.renamed-m.staged))
			_, ended = waitStaged(c, store)
		}
		if !ended {
			select {
			case <-time.After(wait):
				deciles[min(9, int(10*time.Since(start)/m.end))]++
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
	t.Logf("%d kills by tenths of the run: %v", runs, deciles)
	t.Logf("states found: %v", count)
}
