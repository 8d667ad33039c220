package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/cmd/report/internal/demoline"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/pipeline"
	"hindcheck/pipeline/privacy"
)

// ownLine is a copy of the scripts' line that a test may load into.
func ownLine(t *testing.T) string {
	t.Helper()
	line, err := scriptLine()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(line, "demo"))); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(filepath.Join(dir, demoline.KeyFile), 0o600); err != nil { // a copy forgets who may read
		t.Fatal(err)
	}
	return dir
}

// loadForm loads a form as ingest load does, with the description beside it.
func loadForm(t *testing.T, dir, folder, form string) *pipeline.Summary {
	t.Helper()
	key, err := privacy.ReadKey(filepath.Join(dir, demoline.KeyFile), func(string) string { return "" })
	if err != nil {
		t.Fatal(err)
	}
	sum, err := pipeline.Load(context.Background(), pipeline.LoadOptions{Store: demoline.Store(dir), Exports: []string{form}, Sources: []string{filepath.Join(folder, "sources")},
		Key: key, Now: time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC), Threads: 2, Software: "test", Progress: func(string, int64) {}})
	if err != nil {
		t.Fatal(err)
	}
	return sum
}

// fill rewrites a form row by row; answer changes the cells by their column.
func fill(t *testing.T, path string, answer func(row int, cells map[string]string)) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range rows[1:] {
		cells := map[string]string{}
		for c, name := range rows[0] {
			cells[name] = row[c]
		}
		answer(i, cells)
		for c, name := range rows[0] {
			row[c] = cells[name]
		}
	}
	var b bytes.Buffer
	if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

func decode[T any](t *testing.T, text string) T {
	t.Helper()
	var v T
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatalf("%v in %.200s", err, text)
	}
	return v
}

// The whole way of the follow-up sample: drawn, filled in, loaded, weighted in
// the review. In the store's last full week the line itself has not drawn yet.
func TestFollowUpComesBack(t *testing.T) {
	dir := ownLine(t)
	store, out := demoline.Store(dir), filepath.Join(dir, "follow-up")
	args := []string{"audit", "--store", store, "--calls", "20", "--seed", "7", "--on", "2026-09-14"}
	before := decode[review.Draw](t, run(t, append(args, "--format", "json")...))
	run(t, append(args, "--out", out)...)
	form := filepath.Join(out, "follow-up-2026-09-14-7.csv")
	if status, _, errs := report2(t, append(args, "--out", out)...); status != 1 || !strings.Contains(errs, "may have been filled in") {
		t.Errorf("a form that is there already: status %d, %s", status, errs)
	}
	// The first is not reached, the second still waits, the third had needed it.
	reached, needed := 0, ""
	fill(t, form, func(i int, cells map[string]string) {
		if i == 1 {
			return
		}
		cells["filled_on"], cells["called_at"], cells["reached"] = "2026-09-15", "2026-09-15 10:00", "yes"
		switch {
		case i == 0:
			cells["reached"] = "no"
		case needed == "" && cells["advised"] == "home care":
			cells["needed"], cells["result"], cells["event_at"], needed = "same day", "kept in", cells["first_contact"], cells["call"]
			reached++
		default:
			cells["needed"] = "home care"
			reached++
		}
	})
	sum := loadForm(t, dir, out, form)
	if want := int64(len(before.Calls) - 1); sum.Sums.New != want || sum.Sums.SetAside != 1 {
		t.Fatalf("%d rows new, %d set aside; want %d and the one that still waits", sum.Sums.New, sum.Sums.SetAside, want)
	}
	after := decode[review.Draw](t, run(t, append(args, "--format", "json")...))
	if !slices.EqualFunc(before.Calls, after.Calls, func(a, b review.DrawnCall) bool { return a.Call == b.Call && a.Probability == b.Probability }) {
		t.Error("the answers changed what the same week and seed draw")
	}
	if after.Repeats < int64(len(before.Calls)-1) {
		t.Errorf("%d of the week are known to have been drawn", after.Repeats)
	}
	next := decode[review.Draw](t, run(t, "audit", "--store", store, "--calls", "400", "--seed", "7", "--on", "2026-09-21", "--format", "json"))
	for _, c := range next.Calls {
		if slices.ContainsFunc(before.Calls, func(x review.DrawnCall) bool { return x.Call == c.Call }) {
			t.Errorf("%s is drawn twice", c.Call)
		}
	}
	r := decode[review.Review](t, run(t, "monthly", "--store", store, "--month", "2026-09", "--lag", "0h", "--format", "json"))
	weights := 0
	for _, s := range r.FollowUp[0].Strata {
		if s.Answered > 0 && s.Weight >= 1 && s.Probability > 0 {
			weights++
		}
	}
	if r.FollowUp[0].Needed < 1 || r.FollowUp[0].Response.Estimate == nil || weights < 2 || !strings.Contains(r.FollowUp[0].Says, "probability of the draw") {
		t.Errorf("%+v", r.FollowUp[0])
	}
	if !slices.ContainsFunc(append(r.Missed.InMonth, r.Missed.Earlier...), func(c review.Case) bool { return c.Call == needed }) {
		t.Errorf("the animal that had needed it (%s) is not among the cases to discuss", needed)
	}
}

// report2 runs the command and gives status and streams, whatever they are.
func report2(t *testing.T, args ...string) (int, string, string) {
	t.Helper()
	var o, e bytes.Buffer
	status := Run(context.Background(), args, nil, strings.NewReader(""), &o, &e)
	return status, o.String(), e.String()
}

// Order and repetition of a draw: the same list whatever the number of threads,
// another with another seed, more calls hold the fewer.
func TestDrawIsReproducible(t *testing.T) {
	line, err := scriptLine()
	if err != nil {
		t.Fatal(err)
	}
	store := demoline.Store(filepath.Join(line, "demo"))
	draw := func(args ...string) review.Draw {
		return decode[review.Draw](t, run(t, append([]string{"audit", "--store", store, "--on", "2026-08-12", "--format", "json"}, args...)...))
	}
	calls := func(d review.Draw) []string {
		var out []string
		for _, c := range d.Calls {
			out = append(out, c.Call)
		}
		return out
	}
	one, two, other, more := draw("--calls", "10", "--threads", "1"), draw("--calls", "10", "--threads", "2"), draw("--calls", "10", "--seed", "2"), draw("--calls", "14")
	if len(one.Calls) != 10 || !slices.Equal(calls(one), calls(two)) {
		t.Errorf("%v and %v", calls(one), calls(two))
	}
	if slices.Equal(calls(one), calls(other)) {
		t.Error("another seed draws the same calls")
	}
	for _, c := range calls(one) {
		if !slices.Contains(calls(more), c) {
			t.Errorf("%s is among 10 and not among 14", c)
		}
	}
	if one.On.Weekday() != time.Monday || one.From.Format(time.DateOnly) != "2026-07-31" || one.To.Format(time.DateOnly) != "2026-08-07" {
		t.Errorf("drawn on %s from %s to %s", one.On, one.From, one.To)
	}
	for _, c := range one.Calls {
		if age := one.On.Sub(c.StartedAt).Hours() / 24; age <= 3 || age > 10 {
			t.Errorf("a call of %.1f days", age)
		}
	}
	sum := 0.0
	for _, s := range one.Strata {
		sum += s.Probability * float64(s.Eligible)
	}
	if sum < 9.999 || sum > 10.001 {
		t.Errorf("the chances add up to %v calls, want 10", sum)
	}
}

// The whole way of a case review: sheets and form, two reviewers and the
// advisor, loaded, and in the review.
func TestCaseReviewComesBack(t *testing.T) {
	dir := ownLine(t)
	store, out := demoline.Store(dir), filepath.Join(dir, "panel")
	year := decode[review.Review](t, run(t, "monthly", "--store", store, "--format", "json"))
	all := append(year.Missed.InMonth, year.Missed.Earlier...)
	if len(all) < 2 {
		t.Fatalf("%d cases in the line", len(all))
	}
	args := []string{"cases", "--store", store, "--out", out}
	for _, c := range all[:2] {
		args = append(args, "--id", c.Call)
	}
	run(t, args...)
	form := filepath.Join(out, "case-review-"+year.Period.Month+".csv")
	data, err := os.ReadFile(form)
	if err != nil {
		t.Fatal(err)
	}
	// A second reviewer's rows, and the advisor's.
	lines := strings.Split(strings.TrimSpace(string(data)), "\n")
	more := append(slices.Clone(lines), lines[1:]...)
	more = append(more, strings.Replace(lines[1], ",panel,", ",advisor,", 1))
	if err := os.WriteFile(form, []byte(strings.Join(more, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	fill(t, form, func(i int, cells map[string]string) {
		cells["judged_on"], cells["reviewer"] = "2026-11-20", []string{"A", "A", "B", "B", "C"}[i]
		if cells["role"] == "panel" {
			cells["foreseeable"] = []string{"yes", "no", "yes", "no"}[i]
			cells["avoidable"] = "unsure"
			cells["reason"] = []string{"not asked", "no flag covers it", "just short", "no flag covers it"}[i]
		}
	})
	if sum := loadForm(t, dir, out, form); sum.Sums.New != 5 || sum.Sums.SetAside != 0 {
		t.Fatalf("%+v", sum.Sums)
	}
	r := decode[review.Review](t, run(t, "monthly", "--store", store, "--month", year.Period.Month, "--format", "json"))
	p := r.Panel
	if p.Cases != 2 || p.Judgements != 4 || p.Twice != 2 || len(p.Contested) != 1 {
		t.Errorf("%+v", p)
	}
	if k := p.Questions[0].Agreement; k.Estimate == nil || *k.Estimate != 1 {
		t.Errorf("both agree on what could be foreseen: %+v", k)
	}
	if p.Questions[1].Agreement.Estimate != nil {
		t.Error("agreement beyond chance where all said the same")
	}
	found := 0
	for _, c := range append(r.Missed.InMonth, r.Missed.Earlier...) {
		if len(c.Judgements) > 0 {
			found++
		}
	}
	if found != 2 || r.Advice[0].Verified != year.Advice[0].Verified {
		t.Errorf("%d cases carry judgements; the advice is judged on %+v, before %+v", found, r.Advice[0].Verified, year.Advice[0].Verified)
	}
	// A level on which the panel settled stands above the vets' records.
	if r.Missed.InPeriod != year.Missed.InPeriod {
		t.Errorf("%d missed cases, before %d", r.Missed.InPeriod, year.Missed.InPeriod)
	}
	fill(t, form, func(i int, cells map[string]string) {
		cells["judged_on"] = "2026-11-21"
		if i == 0 {
			cells["needed"] = "home care"
		}
	})
	loadForm(t, dir, out, form)
	again := decode[review.Review](t, run(t, "monthly", "--store", store, "--month", year.Period.Month, "--format", "json"))
	if again.Missed.InPeriod != year.Missed.InPeriod-1 || again.Panel.Judgements != 4 {
		t.Errorf("%d missed cases and %d judgements; want one case fewer and the same judgements", again.Missed.InPeriod, again.Panel.Judgements)
	}
}
