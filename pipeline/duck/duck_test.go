package duck

import (
	"context"
	"database/sql"
	"testing"
)

func TestOpenSetsLimits(t *testing.T) {
	ctx := context.Background()
	db, err := Open(ctx, Options{Threads: 1, MemoryMB: 64, TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var threads, zone string
	if err := db.QueryRowContext(ctx, "SELECT current_setting('threads'), current_setting('TimeZone')").Scan(&threads, &zone); err != nil {
		t.Fatal(err)
	}
	if threads != "1" || zone != "UTC" {
		t.Errorf("threads %q, zone %q; want 1 and UTC", threads, zone)
	}
}

func TestNoExtensionIsLoaded(t *testing.T) {
	ctx := context.Background()
	db, err := Open(ctx, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, "SELECT * FROM 'https://localhost/x.parquet'"); err == nil {
		t.Error("a remote file was read; want an error")
	}
}

func TestQuote(t *testing.T) {
	if got := FileList([]string{"a", "it's"}); got != "['a', 'it''s']" {
		t.Errorf("FileList = %s", got)
	}
}

// A second connection must not set the spill folder again once it is in use.
func TestConnectionAfterSpilling(t *testing.T) {
	ctx := context.Background()
	db, err := Open(ctx, Options{Threads: 2, MemoryMB: 48, TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, "CREATE TABLE big AS SELECT range AS a, hash(range) AS b, hash(range + 1) AS c FROM range(6000000)"); err != nil {
		t.Fatal(err)
	}
	first, err := db.Conn(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer first.Close()
	second, err := db.Conn(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer second.Close()
	for _, c := range []*sql.Conn{first, second} {
		var zone string
		if err := c.QueryRowContext(ctx, "SELECT current_setting('TimeZone')").Scan(&zone); err != nil || zone != "UTC" {
			t.Errorf("zone %q, %v; want UTC", zone, err)
		}
	}
}
