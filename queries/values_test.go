package queries

import (
	"context"
	"database/sql"
	"math"
	"testing"
	"time"

	"hindcheck/pipeline/duck"
)

// A value written into the text is the value that would be bound, of the same
// type.
func TestFillIsAsBinding(t *testing.T) {
	db := memory(t)
	const ask = "SELECT typeof($x), ($x)::VARCHAR"
	for _, v := range []any{
		0, -3, 202609, int64(math.MaxInt64), 0.0, -0.5, 1e300, 1.0 / 3, math.MaxFloat64,
	} {
		text, bound := fill(ask, map[string]any{"x": v})
		if len(bound) != 0 {
			t.Errorf("%v is left to bind", v)
		}
		kind, value := read(t, db, text)
		if wantKind, want := read(t, db, ask, sql.Named("x", v)); kind != wantKind || value != want {
			t.Errorf("%v written as %s: %s %s, bound %s %s", v, text, kind, value, wantKind, want)
		}
	}
}

// Words that look like a parameter stay words, and a remark's apostrophe opens none.
func TestFillLeavesWords(t *testing.T) {
	db := memory(t)
	kind, value := read(t, db, func() string {
		text, bound := fill("SELECT 'x', -- the caller's\n '$x it''s -- $at' || $x AS \"$x\"", map[string]any{"x": 7, "at": time.Unix(0, 0)})
		if len(bound) != 0 {
			t.Error(bound)
		}
		return text
	}())
	if kind != "x" || value != "$x it's -- $at7" {
		t.Errorf("got %s, %s", kind, value)
	}
}

// A time is bound as what it is compared with.
func TestFillTimesAsBinding(t *testing.T) {
	db := memory(t)
	for _, v := range []time.Time{{}, time.Date(2026, 9, 1, 23, 59, 59, 123456000, time.FixedZone("east", 7200))} {
		for _, kind := range []string{"TIMESTAMP", "TIMESTAMPTZ"} {
			ask := "SELECT typeof($x::" + kind + "), ($x::" + kind + ")::VARCHAR"
			text, bound := fill(ask, map[string]any{"x": v})
			_, value := read(t, db, text)
			if _, want := read(t, db, ask, sql.Named("x", v)); value != want || len(bound) != 0 {
				t.Errorf("%v written as %s: %s, bound %s", v, text, value, want)
			}
		}
	}
}

// memory is a database without tables.
func memory(t *testing.T) *sql.DB {
	t.Helper()
	db, err := duck.Open(context.Background(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	return db
}

func read(t *testing.T, db *sql.DB, text string, args ...any) (kind, value string) {
	t.Helper()
	if err := db.QueryRowContext(context.Background(), text, args...).Scan(&kind, &value); err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	return kind, value
}

func TestFillLeavesWordsAndStrangers(t *testing.T) {
	text, bound := fill("a-$n $word $word $cut $cut_off", map[string]any{"n": -1, "word": "x' OR 1", "cut": 3, "nan": math.NaN()})
	if want := "a-CAST(-1 AS BIGINT) $word $word CAST(3 AS BIGINT) $cut_off"; text != want {
		t.Errorf("%s, want %s", text, want)
	}
	if len(bound) != 1 || bound[0] != sql.Named("word", "x' OR 1") {
		t.Errorf("to bind: %v", bound)
	}
}
