package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// runner runs works in a checkout.
type runner struct {
	root, dir string
	size      size
	progress  io.Writer
}

// moduleRoot is the folder of go.mod.
func moduleRoot(ctx context.Context) (string, error) {
	out, err := exec.CommandContext(ctx, "go", "env", "GOMOD").Output()
	if err != nil {
		return "", fmt.Errorf("go env GOMOD: %w", err)
	}
	file := strings.TrimSpace(string(out))
	if filepath.Base(file) != "go.mod" {
		return "", errors.New("expected to run within the checkout, found no go.mod; change into it")
	}
	return filepath.Dir(file), nil
}

// run gives the lines of one work.
func (r runner) run(ctx context.Context, w work) []row {
	if w.pkg == "" {
		return r.demo(ctx, w)
	}
	args := []string{"test", w.pkg, "-v", "-count", "1", "-timeout", "6h"}
	if w.bench != "" {
		args = append(args, "-run", "^$", "-bench", w.bench)
	} else {
		args = append(args, "-run", w.test)
	}
	if w.args != nil {
		args = append(args, w.args(r.size)...)
	}
	env := []string{"HINDCHECK_BENCH_DIR=" + r.dir}
	if w.env != nil {
		env = append(env, w.env(r.size)...)
	}
	fmt.Fprintf(r.progress, "%s: %s go %s\n", w.name, strings.Join(env[1:], " "), strings.Join(args, " "))
	cmd := exec.CommandContext(ctx, "go", args...)
	cmd.Dir, cmd.Env = r.root, append(os.Environ(), env...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Run(); err != nil {
		fmt.Fprintf(r.progress, "%s\n%s: %v\n", out.String(), w.name, err)
		return w.failed(err.Error())
	}
	return w.rows(out.String())
}

// demoRuns is how often the demonstration is made.
const demoRuns = 3

// demo builds the command and makes the demonstration several times.
func (r runner) demo(ctx context.Context, w work) []row {
	folder := filepath.Join(r.dir, "demo")
	defer os.RemoveAll(folder)
	program := filepath.Join(folder, "report")
	fmt.Fprintf(r.progress, "%s: report demo, %d times\n", w.name, demoRuns)
	do := func(dir, name string, args ...string) error {
		cmd := exec.CommandContext(ctx, name, args...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			fmt.Fprintf(r.progress, "%s\n", out)
			return err
		}
		return nil
	}
	if err := do(r.root, "go", "build", "-o", program, "./cmd/report"); err != nil {
		return w.failed(err.Error())
	}
	var took []float64
	for i := range demoRuns {
		from := time.Now()
		if err := do(folder, program, "demo", "--dir", filepath.Join(folder, fmt.Sprint("line-", i))); err != nil {
			return w.failed(err.Error())
		}
		took = append(took, time.Since(from).Seconds())
	}
	slices.Sort(took)
	return w.rowsOf([]result{{name: "demo", figures: map[string]float64{"best-s": took[0], "median-s": took[len(took)/2]}}})
}
