package queries_test

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/privacy"
	"hindcheck/queries"
)

func demoKey(t *testing.T) privacy.Key {
	t.Helper()
	key, err := privacy.NewKey(bytes.Repeat([]byte{3, 4, 5, 6}, 8))
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// someOwner is the key of the owner of a call that asked for advice.
func someOwner(t *testing.T, exports string) string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(exports, "calls-*"))
	if err != nil || len(names) == 0 {
		t.Fatal(names, err)
	}
	data, err := os.ReadFile(names[len(names)-1])
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(data), "\n")
	at := slices.Index(strings.Split(lines[0], ";"), "Owner key")
	for _, line := range lines[1:] {
		if cells := strings.Split(line, ";"); at >= 0 && len(cells) > at && cells[at] != "" && slices.Contains(cells, "advice") {
			return cells[at]
		}
	}
	t.Fatal("no owner")
	return ""
}

// demoStore loads a small demonstration line in two loads, the second with the
// exports of the last months, and returns the folder of its store.
func demoStore(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	exports := filepath.Join(dir, "exports")
	if _, err := demo.Generate(context.Background(), demo.Options{Seed: 3, Calls: 1500, Dir: exports}); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(dir, demo.Settings()); err != nil {
		t.Fatal(err)
	}
	key := demoKey(t)
	entries, err := fs.ReadDir(os.DirFS(exports), ".")
	if err != nil {
		t.Fatal(err)
	}
	var early, late []string
	for _, e := range entries {
		path := filepath.Join(exports, e.Name())
		if bytes.Contains([]byte(e.Name()), []byte("exported-2026-1")) {
			late = append(late, path)
		} else {
			early = append(early, path)
		}
	}
	for _, list := range [][]string{early, late} {
		_, err := pipeline.Load(context.Background(), pipeline.LoadOptions{
			Store: filepath.Join(dir, "store"), Exports: list, Sources: []string{filepath.Join(dir, "sources")},
			Files: pipeline.DefinitionFiles{Rules: filepath.Join(dir, "rules.yaml"), CaseDefinition: filepath.Join(dir, "case_definition.yaml"), Strata: filepath.Join(dir, "strata.yaml")},
			Key:   key, Now: time.Date(2026, 11, 10, 8, 0, 0, 0, time.UTC), Threads: 2, Software: "test",
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "store")
}

func open(t *testing.T, dir string, asOf int) *queries.DB {
	t.Helper()
	d, err := queries.Open(context.Background(), dir, queries.OpenOptions{AsOf: asOf, Threads: 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	})
	return d
}

// Every question runs on a real store, and an episode is in exactly one cell of
// every flag.
func TestOpen(t *testing.T) {
	dir := demoStore(t)
	d := open(t, dir, 0)
	meta := d.Meta()
	if len(meta.Flags) == 0 || len(meta.Findings) == 0 || meta.RuleSet == "" || meta.Definition == "" || meta.Window != 72*time.Hour ||
		meta.AsOf != 2 || meta.DataCut.IsZero() || !cmp.Equal(meta.Strata, []string{"site", "species"}) {
		t.Errorf("meta: %+v", meta)
	}
	// The demonstration rules call gums slow to refill from 2 s; tenths are stored.
	found := false
	for _, f := range meta.Flags {
		for _, x := range f.Thresholds {
			found = found || x.Finding == "capillary_refill_s" && x.Stored == 20 && x.Text == "2"
		}
	}
	if !found {
		t.Errorf("no threshold of 2 s among %+v", meta.Flags)
	}
	all, err := queries.Questions()
	if err != nil {
		t.Fatal(err)
	}
	defaults := map[string]string{"from_month": "2025-05", "to_month": "2026-10", "mature_before": "2026-09-01",
		"cut": "same_day", "cluster": "animal", "finding": "capillary_refill_s", "threshold": "20", "scale": "10", "hours": "4", "doubtful": "0.8",
		"current": "in_force", "proposed": "in_force", "most": "20", "night_from": "20", "night_to": "8",
		"episodes": "00000000-0000-0000-0000-000000000001", "from_time": "2026-07-01", "to_time": "2026-07-08", "known_by": "2026-07-12"}
	for _, q := range all {
		if _, err := d.Run(ctx, q.Name, nil, defaults); err != nil {
			t.Errorf("%s: %v", q.Name, err)
		}
	}
	months, err := d.Months(ctx)
	if err != nil {
		t.Fatal(err)
	}
	var episodes int64
	for _, m := range months {
		episodes += m.Episodes
	}
	scope := queries.Scope{From: 202504, To: 202612}
	rows, err := d.FlagCounts(ctx, scope, 3)
	if err != nil {
		t.Fatal(err)
	}
	sum := map[int]int64{}
	for _, r := range rows {
		sum[r.Flag] += r.Present + r.Absent + r.Unknown
	}
	for i := range meta.Flags {
		if sum[i] != episodes || episodes == 0 {
			t.Errorf("flag %d: %d of %d episodes", i, sum[i], episodes)
		}
	}
}

// As of the first load the store answers as it did then.
func TestAsOf(t *testing.T) {
	dir := demoStore(t)
	now, then := open(t, dir, 0), open(t, dir, 1)
	if then.Meta().AsOf != 1 || !then.Meta().DataCut.Before(now.Meta().DataCut) {
		t.Errorf("data cut %v as of 1, %v now", then.Meta().DataCut, now.Meta().DataCut)
	}
	late, err := now.Months(ctx)
	if err != nil {
		t.Fatal(err)
	}
	early, err := then.Months(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if len(early) == 0 || len(early) >= len(late) {
		t.Fatalf("%d months as of 1, %d now", len(early), len(late))
	}
	// Deriving cases of the present anew gives the stored ones.
	last := open(t, dir, 2)
	scope := queries.Scope{From: 202504, To: 202612, MatureBefore: time.Date(2026, 9, 1, 0, 0, 0, 0, time.UTC)}
	a, err := now.AdviceCounts(ctx, scope)
	if err != nil {
		t.Fatal(err)
	}
	b, err := last.AdviceCounts(ctx, scope)
	if err != nil || !cmp.Equal(a, b) {
		t.Errorf("the last load by its number differs from the present: %v", err)
	}
	// An erasure since is told by every state that lacks the records.
	if e := then.Meta().Erased; e.Requests != 0 {
		t.Errorf("erased before any erasure: %+v", e)
	}
	if _, err := pipeline.Erase(ctx, pipeline.EraseOptions{Store: dir, Kind: "owner", Identifier: someOwner(t, filepath.Join(dir, "../exports")), Key: demoKey(t), Threads: 2, Software: "test"}); err != nil {
		t.Fatal(err)
	}
	for n := range 3 {
		if e := open(t, dir, n).Meta().Erased; e.Requests != 1 || e.Calls == 0 || e.Rows <= e.Calls {
			t.Errorf("erased since load %d: %+v; want one request with calls and more", n, e)
		}
	}
	for _, n := range []int{-1, 3} {
		if _, err := queries.Open(ctx, dir, queries.OpenOptions{AsOf: n}); !errors.Is(err, queries.ErrParameter) {
			t.Errorf("load %d: %v", n, err)
		}
	}
}
