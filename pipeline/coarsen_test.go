package pipeline_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/pipeline"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// Coarsened ages, weights and times stand nowhere in the store as they were;
// episodes and links are those of the exact times but for what lies within a
// step of a window's end; and later loads keep to the first.
func TestCoarsening(t *testing.T) {
	dir := demoLine(t, twoMonths)
	exact := loadOptions(t, dir)
	fine := load(t, exact)
	opt := loadOptions(t, dir)
	opt.Store, opt.Files.Privacy = filepath.Join(dir, "coarse"), filepath.Join(dir, "privacy.yaml")
	if err := os.WriteFile(opt.Files.Privacy, []byte("privacy: line_1\nage_months: 12\nweight_kg: 5\nminutes: 60\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	all := opt.Exports[0]
	opt.Exports = []string{filepath.Join(all, "*-2026-05_*")}
	load(t, opt)
	opt.Files.Privacy, opt.Exports = "", []string{all} // the store knows
	sum := load(t, opt)
	for query, want := range map[string]int64{
		"SELECT count(*) FROM calls WHERE age_months % 12 <> 0 OR minute(started_at) + second(started_at) + minute(coalesce(ended_at, started_at)) <> 0":        0,
		"SELECT count(*) FROM calls WHERE weight_kg IS NOT NULL AND weight_kg / 5 - floor(weight_kg / 5) <> 0.5":                                                0,
		"SELECT count(*) FROM calls WHERE ended_at < started_at":                                                                                                0,
		"SELECT count(*) FROM checks WHERE minute(asked_at) <> 0 OR minute(edited_at) <> 0":                                                                     0,
		"SELECT count(*) FROM outcomes WHERE minute(seen_at) <> 0 OR minute(recorded_at) <> 0":                                                                  0,
		"SELECT count(*) FROM outcomes o JOIN calls c ON c.call = o.episode WHERE o.seen_at < c.started_at - INTERVAL 1 HOUR":                                   0,
		"SELECT count(DISTINCT age_months) + count(DISTINCT weight_kg) FROM calls WHERE age_months > 0 AND weight_kg > 0 HAVING count(DISTINCT age_months) < 2": -1,
	} {
		if n := countIn(t, opt.Store, query); n != want {
			t.Errorf("%s: %d, want %d", query, n, want)
		}
	}
	if countIn(t, exact.Store, "SELECT count(*) FROM calls WHERE minute(started_at) > 0 AND age_months % 12 > 0") == 0 {
		t.Error("the exact store is no finer; the test would not notice")
	}
	if got := sum.Sums.SetAside + sum.Sums.New; !sum.Sums.Balanced() || got == 0 {
		t.Errorf("account %+v", sum.Sums)
	}
	const episodes = "SELECT count(DISTINCT episode) FROM calls"
	a, b := countIn(t, exact.Store, episodes), countIn(t, opt.Store, episodes)
	if d := a - b; d < -a/100 || d > a/100 {
		t.Errorf("%d episodes, %d of exact times; want them within 1 %%", b, a)
	}
	const linked = "SELECT count(*) FROM outcomes WHERE episode IS NOT NULL"
	a, b = countIn(t, exact.Store, linked), countIn(t, opt.Store, linked)
	if d := a - b; d < -a/100 || d > a/100 || a == 0 {
		t.Errorf("%d linked outcomes, %d of exact times (%v); want them within 1 %%", b, a, fine.Links)
	}

	before := tree(t, opt.Store)
	opt.Files.Privacy = filepath.Join(dir, "other.yaml")
	if err := os.WriteFile(opt.Files.Privacy, []byte("privacy: line_1\nminutes: 30\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := pipeline.Load(t.Context(), opt); err == nil || !strings.Contains(err.Error(), "expected the privacy file with which this store was made") {
		t.Errorf("another coarseness: %v", err)
	}
	exact.Files.Privacy = opt.Files.Privacy
	if _, err := pipeline.Load(t.Context(), exact); err == nil {
		t.Error("an exact store took a coarse load")
	}
	if tree(t, opt.Store) != before {
		t.Error("the store changed")
	}
	if v, err := pipeline.Verify(t.Context(), opt.Store, 2); err != nil || v.CasesDiffer || len(v.Faults) > 0 {
		t.Errorf("verify: %+v, %v", v, err)
	}
}

// countIn runs a query over the present records; -1 stands for no row.
func countIn(t *testing.T, dir, query string) (n int64) {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var with []string
	for _, name := range resolve.Tables {
		q, err := resolve.AsOf(s, name, 0)
		if err != nil {
			t.Fatal(err)
		}
		with = append(with, name+" AS ("+q+")")
	}
	if err := openDuck(t).QueryRow("SELECT coalesce((WITH " + strings.Join(with, ", ") + " " + query + "), -1)").Scan(&n); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return n
}
