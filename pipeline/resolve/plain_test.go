package resolve

import (
	"fmt"
	"strings"
	"testing"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// history of a line: new calls, late ones, corrections, moved episodes, orphans.
var history = []struct {
	at     string
	calls  []call
	checks []string
	found  [][5]string
}{
	{"2026-02-03", []call{
		{id: "a", animal: "rex", at: "2026-01-31 23:30", complaint: "vomiting", level: "soon"},
		{id: "b", animal: "rex", at: "2026-02-01 09:00", complaint: "vomiting", level: "emergency", kind: "re_contact"},
		{id: "c", animal: "tom", at: "2026-02-02 09:00", level: "home_care"},
		{id: "f", animal: "ivy", at: "2026-02-05 09:00", level: "soon"}, {id: "l", animal: "kit", at: "2026-02-05 09:00", typ: "test"}, // l before f
		{id: "g", animal: "max", at: "2026-02-06 09:00", level: "soon"},
		{id: "h", animal: "bo", at: "2026-02-07 09:00", level: "soon"}, {id: "i", animal: "pip", at: "2026-02-08 09:00", level: "soon"},
		{id: "j", contact: "passed on", animal: "zoe", at: "2026-02-09 09:00", level: "soon"}, {id: "k", contact: "passed on", animal: "zoe", at: "2026-02-09 09:20", level: "emergency"}},
		[]string{"a gum_colour 1 done pink", "a pupils 2 done equal", "b gum_colour 1 done white", "c gum_colour 1 declined", "f pupils 1 done equal", "l pupils 1 done equal", "c gum_colour 2 done white vet", "e pupils 1 done equal", "j pupils 1 done equal", "j gum_colour 3 done pink", "k pupils 2 declined", "k gum_colour 4 done white", "x pupils 1 done equal"},
		[][5]string{{"o1", "a", "", "2026-02-01 10:00", "emergency"}, {"o2", "", "kit", "2026-02-03 10:00", "soon"}}},
	{"2026-03-03", []call{
		{id: "d", animal: "tom", at: "2026-01-31 08:00", level: "soon"}, // late: c becomes its re-contact
		{id: "a", animal: "rex", at: "2026-01-31 23:30", complaint: "vomiting", level: "same_day"},
		{id: "e", animal: "kit", at: "2026-02-03 08:00", complaint: "limping", level: "home_care"}},
		[]string{"a gum_colour 1 done blue", "d gum_colour 1 done grey", "e pupils 1 done equal", "e pupils 1 done equal", "x pupils 1 done equal"},
		[][5]string{{"o1", "a", "", "2026-02-01 10:00", "same_day"}, {"o3", "e", "", "2026-02-04 10:00", "soon"}}},
}

// wordsIn reads the words of a staged file as the reader of exports tells them.
func (l line) wordsIn(path string, t table) map[string][]string {
	l.t.Helper()
	db := l.db()
	defer db.Close()
	out := map[string][]string{}
	for _, c := range t.columns {
		if c.typ != "VARCHAR" {
			continue
		}
		out[c.name] = []string{}
		rows, err := db.Query(fmt.Sprintf("SELECT DISTINCT %q FROM read_parquet(%s) WHERE %[1]q IS NOT NULL", c.name, duck.Quote(path)))
		if err != nil {
			l.t.Fatal(err)
		}
		for rows.Next() {
			var w string
			if err := rows.Scan(&w); err != nil {
				l.t.Fatal(err)
			}
			out[c.name] = append(out[c.name], w)
		}
		rows.Close()
	}
	return out
}

// rowsOf fingerprints every table of a store.
func (l line) rowsOf() string {
	l.t.Helper()
	s, err := store.Open(l.dir)
	if err != nil {
		l.t.Fatal(err)
	}
	defer s.Close()
	db := l.db()
	defer db.Close()
	var out []string
	for _, part := range []string{store.Current, store.History, store.Cases, store.Aside} {
		for _, tab := range append([]string{""}, Tables...) {
			paths := s.Paths(part, tab)
			if len(paths) == 0 {
				continue
			}
			var n int64
			var sum string
			if err := db.QueryRow("SELECT count(*), sum(hash(r)::HUGEINT)::VARCHAR FROM (FROM "+parquet(paths)+") r").Scan(&n, &sum); err != nil {
				l.t.Fatal(err)
			}
			out = append(out, fmt.Sprintf("%s/%s: %d rows, hash %s", part, tab, n, sum))
		}
	}
	return strings.Join(out, "\n")
}

// The quicker ways give the same rows as the plain one: text as numbers of a
// list of known words, and cases by a walk over the files instead of joins, the
// joins whole or in several stretches of a month.
func TestQuickerWaysGiveTheSameRows(t *testing.T) {
	rows := map[string]string{}
	for _, way := range []string{"joins", "walk", "words", "stretches"} {
		l := line{t, t.TempDir()}
		set := testSettings(t)
		words := l.wordsIn
		if way != "words" {
			words = nil
		}
		set.joinCases = way == "joins" || way == "stretches"
		if way == "stretches" {
			set.BatchRows = 1
		}
		for _, h := range history {
			l.loadAs(h.at, map[string]string{"calls": l.calls(h.calls...), "checks": l.checks(h.checks...), "outcomes": l.outcomes(h.found...)}, set, words)
		}
		rows[way] = l.rowsOf()
		if by := l.writers(); way == "walk" && by != "hindcheck" {
			t.Errorf("cases written by %q; want all by the walk", by)
		}
		if n := l.files(store.Cases); way == "stretches" && n < 3 {
			t.Errorf("cases in %d files; want the months cut", n)
		}
	}
	for _, way := range []string{"walk", "words", "stretches"} {
		if rows[way] != rows["joins"] {
			t.Errorf("%s:\n%s\njoins:\n%s", way, rows[way], rows["joins"])
		}
	}
	for _, want := range []string{"current/calls: 12", "history/calls", "history/checks", "set_aside/", "cases/"} {
		if !strings.Contains(rows["joins"], want) {
			t.Errorf("the history has no %q and would not notice a fault:\n%s", want, rows["joins"])
		}
	}
}

func (l line) files(part string) int {
	l.t.Helper()
	s, err := store.Open(l.dir)
	if err != nil {
		l.t.Fatal(err)
	}
	defer s.Close()
	return len(s.Paths(part, ""))
}

// The clock looked up once an hour shows what the calendar shows, at the hours
// in which it is changed, before 1970 and without a zone too.
func TestClockEqualsCalendar(t *testing.T) {
	l := line{t, t.TempDir()}
	db := l.db()
	defer db.Close()
	moments := `SELECT make_timestamptz((1774745999999999 + i * 899999999)::BIGINT) AS started_at FROM range(-500, 500) r(i)
		UNION ALL SELECT make_timestamptz((1791041399999999 + i * 899999999)::BIGINT) FROM range(-500, 500) r(i)
		UNION ALL SELECT make_timestamptz((-1 - i * 7777777777777)::BIGINT) FROM range(0, 500) r(i)`
	calls := "SELECT zone, started_at FROM (" + moments + "), (VALUES ('Europe/Berlin'), ('Australia/Lord_Howe'), ('Asia/Kathmandu'), (NULL)) z(zone)"
	var n, differ, looked int64
	if err := db.QueryRow("WITH rows AS ("+calls+"), clock AS ("+clockSQL("SELECT * FROM rows")+`)
		SELECT count(*), count(*) FILTER (`+localStart+` IS DISTINCT FROM timezone(coalesce(zone, 'UTC'), started_at)), count(shift)
		FROM rows JOIN clock ON `+onClock).Scan(&n, &differ, &looked); err != nil {
		t.Fatal(err)
	}
	if n != 10000 || differ != 0 || looked < 9000 || looked == n {
		t.Errorf("%d moments, %d differ, %d by the hour; want 10000, none, all but a few", n, differ, looked)
	}
}
