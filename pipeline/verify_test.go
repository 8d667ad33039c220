package pipeline_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/pipeline"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

func TestVerify(t *testing.T) {
	ctx := context.Background()
	dir := demoLine(t, twoMonths)
	opt := loadOptions(t, dir)
	sum := load(t, opt)
	v, err := pipeline.Verify(ctx, opt.Store, 2)
	if err != nil || len(v.Faults) > 0 || !v.CasesCompared || v.CasesDiffer || v.Files == 0 {
		t.Fatalf("a fresh store: %+v, %v; want no fault", v, err)
	}
	before := digest(t, opt.Store, 0)
	if err := pipeline.Rebuild(ctx, pipeline.RebuildOptions{Store: opt.Store, Threads: 2}); err != nil {
		t.Fatal(err)
	}
	if v, err = pipeline.Verify(ctx, opt.Store, 2); err != nil || v.CasesDiffer || digest(t, opt.Store, 0) != before {
		t.Errorf("after a rebuild: %+v, %v; want the same store", v, err)
	}

	rows, reasons, err := pipeline.ReadSetAside(ctx, opt.Store, resolve.AsideFilter{}, 0)
	if err != nil || int64(len(rows)) != sum.Sums.SetAside {
		t.Errorf("%d rows set aside, %v; the load said %d", len(rows), err, sum.Sums.SetAside)
	}
	for _, r := range reasons {
		if sum.Aside[r.Reason] != r.Rows {
			t.Errorf("%s: %d rows; the load said %d", r.Reason, r.Rows, sum.Aside[r.Reason])
		}
		some, _, err := pipeline.ReadSetAside(ctx, opt.Store, resolve.AsideFilter{Reason: r.Reason}, 1)
		if err != nil || len(some) != 1 || some[0].Reason != r.Reason || some[0].Remedy == "" {
			t.Errorf("%s: %+v, %v; want one row with a remedy", r.Reason, some, err)
		}
	}

	files, err := pipeline.ListFiles(opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	db := openDuck(t)
	if _, err := db.Exec(pipeline.ViewsSQL(files)); err != nil {
		t.Fatal(err)
	}
	var calls int64
	if err := db.QueryRow("SELECT count(*) FROM calls").Scan(&calls); err != nil || calls != byRecord(sum, "calls").New {
		t.Errorf("the views hold %d calls, %v; the load said %d", calls, err, byRecord(sum, "calls").New)
	}

	// A damaged file and a missing one are both named, with what to do.
	s, err := store.Open(opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	paths := s.Paths(store.Current, "calls")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if len(paths) < 2 {
		t.Fatalf("%d files of calls; the test needs two", len(paths))
	}
	if err := os.WriteFile(paths[0], []byte("damaged"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(paths[1]); err != nil {
		t.Fatal(err)
	}
	if v, err = pipeline.Verify(ctx, opt.Store, 2); err != nil || len(v.Faults) != 2 || v.CasesCompared {
		t.Fatalf("a damaged store: %+v, %v; want two faults", v, err)
	}
	for i, want := range []string{filepath.Base(paths[0]), filepath.Base(paths[1])} {
		if !strings.Contains(v.Faults[i], want) || !strings.Contains(v.Faults[i], "restore it from a backup") {
			t.Errorf("fault %q; want it to name %s and a remedy", v.Faults[i], want)
		}
	}
}
