package resolve

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// line is a store under test, with the loads written as small tables.
type line struct {
	t   *testing.T
	dir string
}

// call is a row of the calls export as a test writes it; ids are short words.
type call struct {
	id, contact, animal, at, complaint, level, kind, typ string
}

func (l line) uuid(word string) string {
	if word == "" {
		return "NULL::UUID"
	}
	return fmt.Sprintf("md5('%s')::UUID", word)
}

func (l line) text(word string) string {
	if word == "" {
		return "NULL::VARCHAR"
	}
	return "'" + word + "'"
}

// load runs the resolver on SELECTs of staged rows and commits.
func (l line) load(at string, staged map[string]string) *Result {
	l.t.Helper()
	return l.loadAs(at, staged, testSettings(l.t), nil)
}

// loadAs is load under other settings; words, if set, tells the words of a
// staged file.
func (l line) loadAs(at string, staged map[string]string, set Settings, words func(path string, t table) map[string][]string) *Result {
	l.t.Helper()
	ctx := context.Background()
	tx, err := store.Begin(store.Disk{}, l.dir)
	if err != nil {
		l.t.Fatal(err)
	}
	defer tx.Close()
	var in Input
	db := l.db()
	defer db.Close()
	n := int32(0)
	for _, tab := range Tables {
		query, ok := staged[tab]
		if !ok {
			continue
		}
		path := filepath.Join(tx.Staging(), "st-"+tab+".parquet")
		query = strings.NewReplacer("$STAMP", fmt.Sprintf("TIMESTAMPTZ '%s' AS exported_at", at), "$FILE", fmt.Sprintf("%d::INTEGER AS src_file", n)).Replace(query)
		if _, err := db.Exec("COPY (" + query + ") TO " + duck.Quote(path) + " (FORMAT parquet)"); err != nil {
			l.t.Fatalf("%s: %v", tab, err)
		}
		part := Part{Table: tab, Path: path, File: n}
		if words != nil {
			part.Words = words(path, must(tableNamed(tab)))
		}
		in.Parts = append(in.Parts, part)
		in.Exports = append(in.Exports, Export{Name: tab + ".csv", Record: tab})
		n++
	}
	res, err := Run(ctx, tx, in, set, duck.Options{Threads: 2, MemoryMB: 256})
	if err != nil {
		l.t.Fatal(err)
	}
	for file, s := range res.Sums {
		if !s.Balanced() {
			l.t.Errorf("export %d: the account does not balance: %+v", file, *s)
		}
	}
	if err := tx.Commit(store.Change{Add: res.Add, Drop: res.Drop, Load: &store.Load{No: tx.No}}); err != nil {
		l.t.Fatal(err)
	}
	return res
}

func (l line) db() *sql.DB {
	l.t.Helper()
	db, err := duck.Open(context.Background(), duck.Options{Threads: 1, MemoryMB: 256, TempDir: l.t.TempDir()})
	if err != nil {
		l.t.Fatal(err)
	}
	return db
}

// calls writes rows of the calls export.
func (l line) calls(rows ...call) string {
	var out []string
	for i, c := range rows {
		contact := c.contact
		if contact == "" {
			contact = "contact " + c.id
		}
		typ := c.typ
		if typ == "" {
			typ = "clinical"
		}
		started := "TIMESTAMPTZ '" + c.at + "'"
		var cols []string
		for _, col := range callsTable.columns {
			v := "NULL::" + col.typ
			switch col.name {
			case "call":
				v = l.uuid(c.id)
			case "contact":
				v = l.uuid(contact)
			case "animal":
				v = l.uuid(c.animal)
			case "started_at":
				v = started
			case "zone":
				v = "'Europe/Berlin'"
			case "contact_type":
				v = l.text(typ)
			case "contact_kind":
				v = l.text(c.kind)
			case "species":
				v = "'dog'"
			case "complaint":
				v = l.text(c.complaint)
			case "level":
				v = l.text(c.level)
			}
			cols = append(cols, v+` AS "`+col.name+`"`)
		}
		hash := fmt.Sprintf("(hash('%s|%s|%s|%s|%s') >> 33)::INTEGER AS row_hash", c.at, c.level, c.animal, c.complaint, contact)
		out = append(out, "SELECT "+strings.Join(cols, ", ")+", $STAMP, "+hash+fmt.Sprintf(", $FILE, %d::BIGINT AS src_row", i+2))
	}
	return strings.Join(out, " UNION ALL ")
}

// checks writes rows of the checks export: "call finding seq state value observer".
func (l line) checks(rows ...string) string {
	var out []string
	for i, row := range rows {
		f := append(strings.Fields(row), "", "", "")
		var cols []string
		for _, col := range checksTable.columns {
			v := "NULL::" + col.typ
			switch col.name {
			case "call":
				v = l.uuid(f[0])
			case "finding":
				v = l.text(f[1])
			case "seq":
				v = f[2] + "::SMALLINT"
			case "state":
				v = l.text(f[3])
			case "value_code":
				v = l.text(f[4])
			case "observer":
				v = l.text(f[5])
			}
			cols = append(cols, v+` AS "`+col.name+`"`)
		}
		out = append(out, "SELECT "+strings.Join(cols, ", ")+fmt.Sprintf(", $STAMP, (hash('%s') >> 33)::INTEGER AS row_hash, $FILE, %d::BIGINT AS src_row", row, i+2))
	}
	return strings.Join(out, " UNION ALL ")
}

// outcomes writes rows of the outcomes export: id, call, animal, seen, level.
func (l line) outcomes(rows ...[5]string) string {
	var out []string
	for i, f := range rows {
		var cols []string
		for _, col := range outcomesTable.columns {
			v := "NULL::" + col.typ
			switch col.name {
			case "outcome":
				v = l.uuid(f[0])
			case "call":
				v = l.uuid(f[1])
			case "animal":
				v = l.uuid(f[2])
			case "seen_at":
				v = "TIMESTAMPTZ '" + f[3] + "'"
			case "vet_level":
				v = l.text(f[4])
			case "source":
				v = "'vet'"
			case "route":
				v = "'advised_visit'"
			}
			cols = append(cols, v+` AS "`+col.name+`"`)
		}
		out = append(out, "SELECT "+strings.Join(cols, ", ")+fmt.Sprintf(", $STAMP, (hash('%v') >> 33)::INTEGER AS row_hash, $FILE, %d::BIGINT AS src_row", f, i+2))
	}
	return strings.Join(out, " UNION ALL ")
}

// read returns rows of the store as lines, with words for pseudonyms.
func (l line) read(part, tab, query string) []string {
	l.t.Helper()
	s, err := store.Open(l.dir)
	if err != nil {
		l.t.Fatal(err)
	}
	defer s.Close()
	db := l.db()
	defer db.Close()
	cols := must(tableNamed(tab)).stored()
	if part == store.History {
		cols = append(cols, column{"superseded_by", "INTEGER"})
	}
	from := emptySelect(cols)
	if paths := s.Paths(part, tab); len(paths) > 0 {
		from = "SELECT * FROM read_parquet(" + duck.FileList(paths) + ", hive_partitioning = false)"
	}
	words := []string{}
	for _, w := range []string{"a", "b", "c", "d", "e", "o1", "o2", "o3"} {
		words = append(words, fmt.Sprintf("WHEN md5('%[1]s')::UUID THEN '%[1]s'", w))
	}
	query = strings.ReplaceAll(query, "word(", "(CASE ")
	query = strings.ReplaceAll(query, ":w)", " "+strings.Join(words, " ")+" END)")
	rows, err := db.Query("WITH rows AS (" + from + ") " + query)
	if err != nil {
		l.t.Fatal(err)
	}
	defer rows.Close()
	names, _ := rows.Columns()
	var out []string
	for rows.Next() {
		cells := make([]any, len(names))
		ptrs := make([]any, len(names))
		for i := range cells {
			ptrs[i] = &cells[i]
		}
		if err := rows.Scan(ptrs...); err != nil {
			l.t.Fatal(err)
		}
		var line []string
		for _, c := range cells {
			if c == nil {
				c = "-"
			}
			if ts, ok := c.(time.Time); ok {
				c = ts.UTC().Format("2006-01-02T15:04")
			}
			line = append(line, fmt.Sprint(c))
		}
		out = append(out, strings.Join(line, " "))
	}
	return out
}

func must(t table, ok bool) table {
	if !ok {
		panic("no such table")
	}
	return t
}

const episodesQuery = `SELECT word(call:w), word(episode:w), contact_kind, episode_month, level, load_no FROM rows ORDER BY 1`

func (l line) want(what string, got []string, want ...string) {
	l.t.Helper()
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		l.t.Errorf("%s:\n got:\n  %s\nwant:\n  %s", what, strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}
