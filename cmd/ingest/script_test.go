package main

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"hindcheck/datasets/demo"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"ingest": func() { os.Exit(Run(context.Background(), os.Args[1:], os.Environ(), os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// Each script starts in a folder with two months of the demonstration line:
// exports/, sources/ and the files that a line writes itself. HINDCHECK_KEY is set.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(env *testscript.Env) error {
			env.Setenv("HINDCHECK_KEY", "000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f")
			if err := os.CopyFS(env.WorkDir, demo.Settings()); err != nil {
				return err
			}
			_, err := demo.Generate(context.Background(), demo.Options{Seed: 11, Calls: 300, Dir: filepath.Join(env.WorkDir, "exports"),
				From: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)})
			return err
		},
	})
}
