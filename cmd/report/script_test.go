package main

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"hindcheck/cmd/report/internal/demoline"
	"hindcheck/datasets/demo"
)

// TestMain lets this test binary be the command of the scripts, and the process
// that report sql runs a query in.
func TestMain(m *testing.M) {
	if isWorker(os.Args[1:]) {
		os.Exit(Run(context.Background(), os.Args[1:], nil, os.Stdin, os.Stdout, os.Stderr))
	}
	testscript.Main(tidying{m}, map[string]func(){
		"report": func() { os.Exit(Run(context.Background(), os.Args[1:], os.Environ(), os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// scriptLine is a small demonstration line that all scripts read.
var scriptLine = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "hindcheck-script-")
	if err != nil {
		return "", err
	}
	toRemove = append(toRemove, dir)
	_, err = demoline.Make(context.Background(), demoline.Options{Dir: filepath.Join(dir, "demo"), Seed: 1, Calls: 1500, Threads: 2,
		Software: "test", Progress: func(string, int64) {}})
	return dir, err
})

// wholeLine is the demonstration line at its usual size, for tests that hold a
// result against its truth; they only read it.
var wholeLine = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "hindcheck-whole-")
	if err != nil {
		return "", err
	}
	toRemove = append(toRemove, dir)
	dir = filepath.Join(dir, "demo")
	_, err = demoline.Make(context.Background(), demoline.Options{Dir: dir, Seed: 1, Calls: 24000, Threads: 2, Software: "test", Progress: func(string, int64) {}})
	return dir, err
})

// toRemove are folders that outlive their test.
var toRemove []string

// tidying removes them when all tests have run.
type tidying struct{ m *testing.M }

// Run implements testscript.TestingM.
func (x tidying) Run() int {
	code := x.m.Run()
	for _, dir := range toRemove {
		os.RemoveAll(dir)
	}
	return code
}

// Each script starts in a folder with the files that a line writes itself
// (rules.yaml and so on); STORE is the store of a small demonstration line,
// which scripts only read.
func TestScripts(t *testing.T) {
	line, err := scriptLine()
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(env *testscript.Env) error {
			env.Setenv("STORE", filepath.Join(line, "demo", "store"))
			return os.CopyFS(env.WorkDir, demo.Settings())
		},
	})
}
