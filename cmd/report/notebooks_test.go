package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// needs finds a program that the worked examples run in, or skips; under CI it
// must be there.
func needs(t *testing.T, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err == nil {
		return path
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is missing; .ci/run installs it", program)
	}
	t.Skipf("%s is missing", program)
	return ""
}

// checkout is the top of the source tree.
func checkout(t *testing.T) string {
	t.Helper()
	top, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	return top
}

// build makes both programs and returns the environment that the scripts of
// notebooks/ find them through.
func build(t *testing.T, top string) []string {
	t.Helper()
	bin := t.TempDir()
	cmd := exec.Command("go", "build", "-o", bin, "./cmd/ingest", "./cmd/report")
	cmd.Dir = top
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return append(os.Environ(), "INGEST="+filepath.Join(bin, "ingest"), "REPORT="+filepath.Join(bin, "report"), "JUPYTER_PLATFORM_DIRS=1")
}

// execute runs a notebook in a kernel of its own and returns what it printed.
// Every notebook stops at the first figure that is not ours.
func execute(t *testing.T, top, name string, env []string) string {
	t.Helper()
	jupyter := needs(t, "jupyter-nbconvert")
	dir := t.TempDir()
	cmd := exec.Command(jupyter, "--to", "notebook", "--execute", "--output-dir", dir, "--ExecutePreprocessor.timeout=300", filepath.Join(top, "notebooks", name))
	cmd.Env = append(env, "JUPYTER_DATA_DIR="+dir, "IPYTHONDIR="+dir, "MPLCONFIGDIR="+dir)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
	text, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestColicNotebook makes the counts of the open colic records as the notebook
// says, and runs it.
func TestColicNotebook(t *testing.T) {
	needs(t, "jupyter-nbconvert")
	top, counts := checkout(t), filepath.Join(t.TempDir(), "counts")
	env := build(t, top)
	script := exec.Command("sh", "notebooks/colic_counts.sh", counts)
	script.Dir, script.Env = top, env
	if out, err := script.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	out := execute(t, top, "colic.ipynb", append(env, "COLIC_COUNTS="+counts, "COLIC_DATA="+filepath.Join(top, "datasets", "colic")))
	if !strings.Contains(out, "figures; all agree") {
		t.Error("the notebook did not come to its end")
	}
}

// TestOpenDataNotebooks publishes the demonstration line as the notebooks say,
// and runs them on it: each recomputes our figures with its own library.
func TestOpenDataNotebooks(t *testing.T) {
	needs(t, "jupyter-nbconvert")
	top, data := checkout(t), filepath.Join(t.TempDir(), "open")
	env := build(t, top)
	script := exec.Command("sh", "notebooks/open_data.sh", data)
	script.Dir, script.Env = top, env
	if out, err := script.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, name := range []string{"first_look", "red_flags", "thresholds", "monitoring"} {
		t.Run(name, func(t *testing.T) {
			out := execute(t, top, name+".ipynb", append(env, "OPEN_DATA="+data))
			if !strings.Contains(out, "; all agree") {
				t.Error("the notebook did not come to its end")
			}
		})
	}
}

// TestWorkedExampleInR runs the example that recomputes the flags in base R.
func TestWorkedExampleInR(t *testing.T) {
	rscript := needs(t, "Rscript")
	script := filepath.Join(checkout(t), "notebooks", "red_flags.R")
	t.Chdir(t.TempDir())
	run(t, "demo", "--dir", "demo", "--calls", "3000", "--quiet")
	run(t, "flags", "--store", "demo/store", "--format", "csv", "--out", "flags.csv")
	out, err := exec.Command(rscript, script, "flags.csv").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "all agree to 1e-9") {
		t.Errorf("%v\n%s", err, out)
	}
}
