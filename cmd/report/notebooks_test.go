package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestWorkedExampleInR runs the example that recomputes the flags in base R.
func TestWorkedExampleInR(t *testing.T) {
	rscript, err := exec.LookPath("Rscript")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("Rscript is missing; .ci/run installs it")
		}
		t.Skip("Rscript is missing")
	}
	script, err := filepath.Abs("../../notebooks/red_flags.R")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	run(t, "demo", "--dir", "demo", "--calls", "3000", "--quiet")
	run(t, "flags", "--store", "demo/store", "--format", "csv", "--out", "flags.csv")
	out, err := exec.Command(rscript, script, "flags.csv").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "all agree to 1e-9") {
		t.Errorf("%v\n%s", err, out)
	}
}
