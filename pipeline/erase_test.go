package pipeline_test

import (
	"context"
	"encoding/csv"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"

	"hindcheck/pipeline"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// subjects reads from the calls export one animal and one owner with calls.
func subjects(t *testing.T, exports string) (animal, owner string) {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(exports, "calls-2026-05_*"))
	if err != nil || len(names) != 1 {
		t.Fatal(names, err)
	}
	f, err := os.Open(names[0])
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comma, r.FieldsPerRecord = ';', -1
	head, err := r.Read()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, h := range head {
		at[h] = i
	}
	for {
		row, err := r.Read()
		if err != nil {
			t.Fatal("no row to take", err)
		}
		if len(row) == len(head) && row[at["Type"]] == "advice" && row[at["Animal key"]] != "" && row[at["Owner key"]] != "" {
			if animal == "" {
				animal = row[at["Animal key"]]
			} else if row[at["Animal key"]] != animal {
				return animal, row[at["Owner key"]]
			}
		}
	}
}

// rowsOf counts the rows of the whole store, history included, that hold a
// pseudonym in any column.
func rowsOf(t *testing.T, dir string, id uuid.UUID) (n int64) {
	t.Helper()
	db := openDuck(t)
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, ".parquet") || strings.Contains(path, "set_aside") {
			return err
		}
		var rows int64
		query := "SELECT count(*) FROM (SELECT COLUMNS(*)::VARCHAR FROM read_parquet(" + duck.Quote(path) + ", hive_partitioning = false)) r WHERE contains(r::VARCHAR, ?)"
		if err := db.QueryRow(query, id.String()).Scan(&rows); err != nil {
			return err
		}
		n += rows
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func TestErase(t *testing.T) {
	ctx := context.Background()
	dir := demoLine(t, twoMonths)
	opt := loadOptions(t, dir)
	all := opt.Exports[0]
	for _, step := range []string{"*-2026-05_*", "*-2026-06_*"} { // two loads, so that there is history
		opt.Exports = []string{filepath.Join(all, step)}
		load(t, opt)
	}
	animal, owner := subjects(t, all)
	total := digest(t, opt.Store, 0)
	for kind, raw := range map[string]string{"animal": animal, "owner": owner} {
		id := uuid.UUID(opt.Key.Pseudonym(kind, raw))
		if rowsOf(t, opt.Store, id) == 0 {
			t.Fatalf("the store holds no %s to erase", kind)
		}
		e := pipeline.EraseOptions{Store: opt.Store, Kind: kind, Identifier: raw, Key: opt.Key, Now: opt.Now, Threads: 2}
		receipt, err := pipeline.Erase(ctx, e)
		if err != nil || receipt.Rows["calls"] == 0 || receipt.Rows["cases"] == 0 || !receipt.OldFilesGone {
			t.Fatalf("%s: %+v, %v; want calls and cases to go and no old file to stay", kind, receipt, err)
		}
		if n := rowsOf(t, opt.Store, id); n != 0 {
			t.Errorf("%d rows still hold the %s", n, kind)
		}
		if _, err := pipeline.Erase(ctx, e); !errors.Is(err, pipeline.ErrNobody) {
			t.Errorf("the %s again: %v; want ErrNobody", kind, err)
		}
	}
	if digest(t, opt.Store, 0) == total {
		t.Error("nothing was erased")
	}
	v, err := pipeline.Verify(ctx, opt.Store, 2)
	if err != nil || len(v.Faults) > 0 || v.CasesDiffer {
		t.Errorf("after the erasures: %+v, %v; want a sound store", v, err)
	}
	st, err := pipeline.ReadStatus(t.Context(), opt.Store)
	if err != nil || len(st.Erasures) != 2 || st.Erasures[0].AfterLoad != 2 {
		t.Errorf("status: %+v, %v; want two erasures after load 2", st, err)
	}
	for _, e := range []pipeline.EraseOptions{
		{Store: opt.Store, Kind: "advisor", Identifier: "N14", Key: opt.Key},
		{Store: opt.Store, Kind: "animal", Identifier: " ", Key: opt.Key},
		{Store: opt.Store, Kind: "animal", Identifier: animal, Key: testKey(t, 9)},
		{Store: filepath.Join(dir, "nowhere"), Kind: "animal", Identifier: animal, Key: opt.Key},
	} {
		if _, err := pipeline.Erase(ctx, e); err == nil || strings.Contains(err.Error(), animal) {
			t.Errorf("%s %s: %v; want a refusal that does not repeat the identifier", e.Kind, e.Store, err)
		}
	}
}

// A reader that holds the store keeps the old files; the receipt says so.
func TestEraseWhileSomebodyReads(t *testing.T) {
	dir := demoLine(t, twoMonths)
	opt := loadOptions(t, dir)
	load(t, opt)
	animal, _ := subjects(t, opt.Exports[0])
	s, err := store.Open(opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	r, err := pipeline.Erase(context.Background(), pipeline.EraseOptions{Store: opt.Store, Kind: "animal", Identifier: animal, Key: opt.Key, Now: opt.Now})
	if err != nil || r.OldFilesGone {
		t.Errorf("%+v, %v; want the old files to stay while they are read", r, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	load(t, opt) // nothing new, but it clears up
	if gone, err := store.OnlyListed(opt.Store); err != nil || !gone {
		t.Errorf("old files gone: %v, %v; want true after the reader left", gone, err)
	}
}
