package resolve

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// Subject is whose records are erased: the column of calls that holds the
// pseudonym (animal or owner), and the pseudonym as a UUID.
type Subject struct{ Column, UUID string }

// Erased is what an erasure adds to and takes from the store, with the rows
// that go, present and superseded ones, by table.
type Erased struct {
	Add  []store.Staged
	Drop []string
	Rows map[string]int64
}

// Erase stages every file of the store that holds a record of the subject
// without those records: its calls, their checks and outcomes, outcomes that
// name only the animal, and the cases. A file of which nothing is left is
// dropped. Rows set aside hold no identifier and stay.
func Erase(ctx context.Context, tx *store.Tx, who Subject, opt duck.Options) (*Erased, error) {
	if who.Column != "animal" && who.Column != "owner" {
		return nil, fmt.Errorf("erase: no column %q", who.Column)
	}
	db, err := openBeside(ctx, tx, opt)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	if err := subjectTables(ctx, db, tx, who); err != nil {
		return nil, fmt.Errorf("erase: %w", err)
	}
	out := &Erased{Rows: map[string]int64{}}
	for i, f := range tx.Manifest.Files {
		where, ok := subjectRows[f.Table]
		if f.Part == store.Cases {
			where, ok = "call IN (SELECT call FROM gone_calls) OR episode IN (SELECT call FROM gone_calls)", true
		}
		if !ok {
			continue
		}
		if err := out.rewrite(ctx, db, tx, f, i, where); err != nil {
			return nil, fmt.Errorf("erase from %s: %w", f.Path, err)
		}
	}
	return out, nil
}

// subjectRows tells the subject's rows in each table that can hold some.
var subjectRows = map[string]string{
	"calls":  "call IN (SELECT call FROM gone_calls)",
	"checks": "call IN (SELECT call FROM gone_calls)",
	"outcomes": `call IN (SELECT call FROM gone_calls) OR episode IN (SELECT call FROM gone_calls)
		OR animal IN (SELECT animal FROM gone_animals)`,
}

// subjectTables finds the subject's calls, present and superseded, and the
// animals whose every call is among them.
func subjectTables(ctx context.Context, db *sql.DB, tx *store.Tx, who Subject) error {
	paths := append(tx.Paths(store.Current, "calls"), tx.Paths(store.History, "calls")...)
	from := relation(paths, parseColumns("call UUID, animal UUID, owner UUID"))
	for _, q := range []string{
		fmt.Sprintf("CREATE TABLE gone_calls AS SELECT DISTINCT call FROM (%s) WHERE %s = '%s'::UUID", from, who.Column, who.UUID),
		fmt.Sprintf("CREATE TABLE gone_animals AS SELECT animal FROM (%s) WHERE animal IS NOT NULL GROUP BY animal HAVING bool_and(call IN (SELECT call FROM gone_calls))", from),
	} {
		if _, err := db.ExecContext(ctx, q); err != nil {
			return err
		}
	}
	if who.Column == "animal" {
		// An animal may have outcomes and no call.
		_, err := db.ExecContext(ctx, fmt.Sprintf("INSERT INTO gone_animals SELECT '%s'::UUID", who.UUID))
		return err
	}
	return nil
}

// rewrite stages a file without the subject's rows, in the order it had.
func (e *Erased) rewrite(ctx context.Context, db *sql.DB, tx *store.Tx, f store.File, n int, where string) error {
	from := "read_parquet(" + duck.Quote(filepath.Join(tx.Dir, filepath.FromSlash(f.Path))) + ", hive_partitioning = false, file_row_number = true)"
	var gone int64
	if err := db.QueryRowContext(ctx, "SELECT count(*) FROM "+from+" WHERE "+where).Scan(&gone); err != nil {
		return err
	}
	if gone == 0 {
		return nil
	}
	name := f.Table
	if f.Part == store.Cases {
		name = "cases"
	}
	e.Rows[name] += gone
	e.Drop = append(e.Drop, f.Path)
	if gone == f.Rows {
		return nil
	}
	path := filepath.Join(tx.Staging(), fmt.Sprintf("erased-%d.parquet", n))
	tab := f.Table
	if f.Part != store.Current {
		tab = "" // history stands in its own order
	}
	left, err := copyRows(ctx, db, tab, path, "* EXCLUDE (file_row_number)", fmt.Sprintf("(FROM %s WHERE coalesce(NOT (%s), true))", from, where), "file_row_number")
	if err != nil {
		return err
	}
	if left+gone != f.Rows {
		_ = os.Remove(path)
		return fmt.Errorf("expected %d rows to stay, found %d", f.Rows-gone, left)
	}
	e.Add = append(e.Add, store.Staged{Path: path, Part: f.Part, Table: f.Table, Month: f.Month, Rows: left})
	return nil
}
