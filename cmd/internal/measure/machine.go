package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"runtime"
	"strconv"
	"strings"

	"hindcheck/pipeline/duck"
)

// describeMachine names what was measured on, as far as it can be found out.
func describeMachine(ctx context.Context) []string {
	out := []string{fmt.Sprintf("%s, %d processors, %s of memory", processor(), runtime.NumCPU(), memory()),
		fmt.Sprintf("%s/%s, %s, DuckDB %s", runtime.GOOS, runtime.GOARCH, runtime.Version(), duckVersion(ctx))}
	var peers []string
	if v := ask(ctx, "/usr/bin/python3", "-c", "import pandas, numpy, sys; print('Python', sys.version.split()[0] + ', pandas', pandas.__version__ + ', numpy', numpy.__version__)"); v != "" {
		peers = append(peers, v)
	}
	if v := ask(ctx, "Rscript", "-e", "cat('R', paste(getRversion()))"); v != "" {
		for _, name := range []string{"pROC", "cutpointr"} {
			if p := ask(ctx, "Rscript", "-e", "cat(paste(packageVersion('"+name+"')))"); p != "" {
				v += ", " + name + " " + p
			}
		}
		peers = append(peers, v)
	}
	return append(out, peers...)
}

// ask is the one line that a program prints; empty if it fails.
func ask(ctx context.Context, name string, args ...string) string {
	out, err := exec.CommandContext(ctx, name, args...).Output()
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(out))
}

func processor() string {
	text, _ := os.ReadFile("/proc/cpuinfo")
	if m := regexp.MustCompile(`model name\s*:\s*(.+)`).FindSubmatch(text); m != nil {
		return string(m[1])
	}
	return "processor not named by the system"
}

func memory() string {
	text, _ := os.ReadFile("/proc/meminfo")
	m := regexp.MustCompile(`MemTotal:\s+(\d+) kB`).FindSubmatch(text)
	if m == nil {
		return "an unknown amount"
	}
	kb, err := strconv.ParseFloat(string(m[1]), 64)
	if err != nil {
		return "an unknown amount"
	}
	return fmt.Sprintf("%.0f GiB", kb/(1<<20))
}

func duckVersion(ctx context.Context) (version string) {
	db, err := duck.Open(ctx, duck.Options{Threads: 1})
	if err != nil {
		return "not opened"
	}
	defer db.Close()
	if err := db.QueryRowContext(ctx, "SELECT version()").Scan(&version); err != nil {
		return "of unknown version"
	}
	return version
}
