package metrics

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

// The cross-check draws small tables, hands them to testdata/crosscheck.R and
// compares what base R makes of them with this package. The two sides share no
// formula: R calls its own functions or solves the defining equation by search.

// rTask is one table for R with what this package says about it.
type rTask struct {
	kind string
	data []string // groups of numbers, joined by |
	want map[string]float64
	// tolerance is relative, with the same figure as absolute floor times 1e-3.
	tolerance float64
}

// numbers writes a group for R.
func numbers[T int64 | float64](list ...T) string {
	parts := make([]string, len(list))
	for i, v := range list {
		parts[i] = strconv.FormatFloat(float64(v), 'g', 17, 64)
	}
	return strings.Join(parts, " ")
}

func TestCrossCheckWithR(t *testing.T) {
	rscript, err := exec.LookPath("Rscript")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("Rscript is missing, and this check is required in CI: install r-base-core")
		}
		t.Skip("Rscript is not installed (Debian package r-base-core)")
	}
	tasks := rTasks(t)
	var input bytes.Buffer
	for i, task := range tasks {
		fmt.Fprintf(&input, "%d\t%s\t%s\n", i, task.kind, strings.Join(task.data, "|"))
	}
	cmd := exec.Command(rscript, "--vanilla", "testdata/crosscheck.R")
	cmd.Stdin = &input
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("Rscript: %v\n%s", err, stderr.String())
	}
	compared, problems := compareWithR(tasks, string(out))
	t.Logf("%d values of %d tables compared", compared, len(tasks))
	if len(tasks) < 100 || compared < 900 {
		t.Errorf("only %d values of %d tables compared", compared, len(tasks))
	}
	for _, p := range problems {
		t.Error(p)
	}
}

// rTasks draws the tables of every subject, the same in each run.
func rTasks(t *testing.T) []rTask {
	t.Helper()
	var tasks []rTask
	for _, draw := range []func(*testing.T, *rand.Rand) []rTask{
		rProportions, rPlans, rTables, rPairs, rValues, rSquares, rReadings, rComparisons, rLogistic, rClusters, rShrinkage, rPooling,
	} {
		tasks = append(tasks, draw(t, rand.New(rand.NewPCG(43, uint64(len(tasks)))))...)
	}
	return tasks
}

// compareWithR holds every value of R to its task and every task to R.
func compareWithR(tasks []rTask, out string) (compared int, problems []string) {
	problem := func(format string, args ...any) { problems = append(problems, fmt.Sprintf(format, args...)) }
	got := make([]map[string]float64, len(tasks))
	for line := range strings.Lines(out) {
		field := strings.Split(strings.TrimSpace(line), "\t")
		if len(field) != 3 {
			problem("R printed %q", line)
			continue
		}
		id, err1 := strconv.Atoi(field[0])
		v, err2 := strconv.ParseFloat(field[2], 64)
		if err1 != nil || err2 != nil || id < 0 || id >= len(tasks) {
			problem("R printed %q", line)
			continue
		}
		if got[id] == nil {
			got[id] = map[string]float64{}
		}
		got[id][field[1]] = v
	}
	for i, task := range tasks {
		for key, r := range got[i] {
			ours, ok := task.want[key]
			if !ok {
				problem("%s: R has %s, this package was not asked", task.kind, key)
				continue
			}
			compared++
			if d := math.Abs(ours - r); !(d <= task.tolerance*(math.Abs(r)+1e-3)) {
				problem("%s of %s: %s is %.12g here and %.12g in R", task.kind, strings.Join(task.data, " | "), key, ours, r)
			}
		}
		for key := range task.want {
			if _, ok := got[i][key]; !ok {
				problem("%s of %s: R did not answer %s", task.kind, strings.Join(task.data, " | "), key)
			}
		}
	}
	return compared, problems
}

// TestCrossCheckCatches shows, without R, that the comparison can fail and that
// script and test name the same tasks.
func TestCrossCheckCatches(t *testing.T) {
	tasks := []rTask{{"table", []string{"1 2 3 4"}, map[string]float64{"dor": 2, "p": 0.5}, 1e-6}}
	for name, tc := range map[string]struct {
		out      string
		problems int
	}{
		"agreement": {"0\tdor\t2.0000001\n0\tp\t0.5\n", 0},
		"deviation": {"0\tdor\t2.0001\n0\tp\t0.5\n", 1},
		"missing":   {"0\tdor\t2\n", 1},
		"surplus":   {"0\tdor\t2\n0\tp\t0.5\n0\tq\t1\n", 1},
		"no number": {"0\tdor\tNA\n0\tp\tNaN\n", 3}, // unreadable, so not answered; NaN never agrees
		"noise":     {"Loading required package\n7\tdor\t2\n0\tdor\t2\n0\tp\t0.5\n", 2},
	} {
		if _, problems := compareWithR(tasks, tc.out); len(problems) != tc.problems {
			t.Errorf("%s: %d problems, want %d: %q", name, len(problems), tc.problems, problems)
		}
	}
	script, err := os.ReadFile("testdata/crosscheck.R")
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[string]bool{}
	for _, task := range rTasks(t) {
		kinds[task.kind] = true
	}
	for k := range kinds {
		if !strings.Contains(string(script), "\ntasks$"+k+" <- function") {
			t.Errorf("crosscheck.R has no task %s", k)
		}
	}
	if n := strings.Count(string(script), "\ntasks$"); n != len(kinds) {
		t.Errorf("crosscheck.R has %d tasks, %d are used", n, len(kinds))
	}
}
