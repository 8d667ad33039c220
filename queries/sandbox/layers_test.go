package sandbox

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	duckdb "github.com/duckdb/duckdb-go/v2"

	"hindcheck/queries"
)

func openSealed(t *testing.T, store string) *sealed {
	t.Helper()
	v, err := queries.OpenViews(context.Background(), store, queries.OpenOptions{Threads: 2, MemoryMB: 128, NoSpill: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { v.Close() })
	s, err := newSealed(context.Background(), v.DB, v.Files)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// outside are attempts that reach for something beyond the database.
var outside = regexp.MustCompile(`(?i)^(COPY|EXPORT|ATTACH|INSTALL|LOAD|FORCE INSTALL|UPDATE EXT|SET |RESET|CREATE PERSISTENT|.*(read_|glob\(|sniff|https:|s3://|/etc/|'x\.csv'))`)

// stays are those of them that the engine alone allows, and that change
// nothing outside its own memory.
var stays = []string{`WITH "/etc/passwd" AS`, "ATTACH ':memory:'", "which_secret", "SET VARIABLE"}

// With the reading of the text taken away, the sealed engine still reaches no
// file, no network and no setting.
func TestSealedEngine(t *testing.T) {
	store, out := demoStore(t), t.TempDir()
	before := digest(t, store)
	s := openSealed(t, store)
	tried := 0
	for _, a := range attempts(t, store, out) {
		// A log or profile that may not be written ends the process when its
		// connection closes, which is an end too, but not one for this test.
		if a.want != "refused" || strings.Contains(a.text, "enable_") {
			continue
		}
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		err := drain(ctx, s.db, a.text)
		cancel()
		if outside.MatchString(a.text) {
			tried++
			harmless := slices.ContainsFunc(stays, func(part string) bool { return strings.Contains(a.text, part) })
			if err == nil && !harmless {
				t.Errorf("escapes.sql row %d: the engine alone allows %s", a.line, a.text)
			}
		}
	}
	if tried < 40 {
		t.Errorf("only %d attempts reach outside", tried)
	}
	if after := digest(t, store); fmt.Sprint(after) != fmt.Sprint(before) {
		t.Error("files of the store changed")
	}
	if made := digest(t, out); len(made) > 0 {
		t.Errorf("files were made: %v", made)
	}
}

func drain(ctx context.Context, db *sql.DB, text string) error {
	rows, err := db.QueryContext(ctx, text)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
	}
	return rows.Err()
}

// With the reading of the text taken away, the preparing of the statement
// still lets one SELECT through and nothing else.
func TestOneSelectOnly(t *testing.T) {
	s := openSealed(t, demoStore(t))
	for text, ok := range map[string]bool{
		"SELECT 1": true, "FROM calls LIMIT 1": true, "SELECT 1; SELECT 2": false, "CREATE TABLE t AS SELECT 1": false,
		"DROP VIEW calls; SELECT 1": false, "EXPLAIN SELECT 1": false, "BEGIN": false, "": false, "DELETE FROM cases": false,
	} {
		err := s.run(context.Background(), text, "csv", &bytes.Buffer{})
		if ok != (err == nil) || err != nil && !errors.Is(err, ErrRefused) {
			t.Errorf("%q: %v", text, err)
		}
	}
	// Nothing before the refused second statement was executed.
	if err := drain(context.Background(), s.db, "FROM calls LIMIT 1"); err != nil {
		t.Error(err)
	}
}

// The driver's other way to prepare executes all but the last statement, which
// is why run does not use it. If this fails, the comment there is out of date.
func TestPrepareContextExecutes(t *testing.T) {
	s := openSealed(t, demoStore(t))
	conn, err := s.db.Conn(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	err = conn.Raw(func(raw any) error {
		stmt, err := raw.(*duckdb.Conn).PrepareContext(context.Background(), "CREATE TEMP TABLE made AS SELECT 1; SELECT 1")
		if err != nil {
			return err
		}
		return stmt.Close()
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := conn.ExecContext(context.Background(), "FROM made"); err != nil {
		t.Errorf("the first statement was not executed: %v", err)
	}
}
