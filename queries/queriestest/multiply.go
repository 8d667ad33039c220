package queriestest

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

const (
	// fileRows is about the size of the files of a long store.
	fileRows = 1_000_000
	// teams bounds how often an advisor or a reviewer is copied: a line a thousand
	// times as long has more of them, but not a thousand times as many.
	teams = 40
	// mixed is over what part of a month the copies of a row are strewn. Side by
	// side they would pack to nearly nothing, and a scan of them would cost nothing.
	mixed = 4
)

// Multiply writes to the folder to a store that holds every row of the store in
// from copies times, so that a long store can be had without inventing, reading
// and resolving its exports. Callers, animals, calls and outcomes of each copy
// have pseudonyms of their own, and its times are shifted by less than a minute,
// alike in all tables; codes and words stay. Rows lie in files of about a
// million, about in the order that a load gives them. The store in from must hold one
// load. Given parts of a store (store.Cases), the others are left out.
func Multiply(ctx context.Context, from, to string, copies int, parts ...string) (err error) {
	s, err := store.Open(from)
	if err != nil {
		return err
	}
	defer s.Close()
	if s.Manifest.LastLoad() != 1 {
		return fmt.Errorf("multiply %s: expected one load, found %d", from, s.Manifest.LastLoad())
	}
	tx, err := store.Begin(store.Disk{}, to)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, tx.Close()) }()
	db, err := duck.Open(ctx, duck.Options{MemoryMB: 3000, TempDir: filepath.Join(tx.Staging(), "spill"), GiveBack: true})
	if err != nil {
		return err
	}
	defer db.Close()
	m := s.Manifest
	change := store.Change{Load: &m.Loads[0], Definitions: m.Definitions, KeyCheck: m.KeyCheck, Software: m.Software}
	for _, f := range m.Files {
		if len(parts) > 0 && !slices.Contains(parts, f.Part) {
			continue
		}
		staged, err := multiplyFile(ctx, db, filepath.Join(s.Dir, filepath.FromSlash(f.Path)), f, tx.Staging(), len(change.Add), copies)
		if err != nil {
			return fmt.Errorf("multiply %s: %w", f.Path, err)
		}
		change.Add = append(change.Add, staged...)
	}
	d := m.Definitions
	for _, hash := range []string{d.Dictionary, d.Rules, d.CaseDefinition, d.Strata, d.Privacy} {
		if hash == "" {
			continue
		}
		text, err := s.Definition(hash)
		if err != nil {
			return err
		}
		change.Texts = append(change.Texts, text)
	}
	return tx.Commit(change)
}

// multiplyFile writes the copies of one file; feeds and refused rows have one.
func multiplyFile(ctx context.Context, db *sql.DB, path string, f store.File, staging string, number, copies int) ([]store.Staged, error) {
	if f.Part == store.Aside || f.Table == "coverage" {
		copies = 1
	}
	columns, err := copiedColumns(ctx, db, path)
	if err != nil {
		return nil, err
	}
	// The checks of a call lie together.
	place := "file_row_number"
	if f.Table == "checks" {
		place = "min(file_row_number) OVER (PARTITION BY call)"
	}
	each := max(1, int(fileRows/max(f.Rows, 1)))
	var out []store.Staged
	for first := 0; first < copies; first += each {
		last := min(first+each, copies)
		one := store.Staged{Path: filepath.Join(staging, fmt.Sprintf("%06d.parquet", number+len(out))), Part: f.Part, Table: f.Table, Month: f.Month, Rows: f.Rows * int64(last-first)}
		query := fmt.Sprintf(`COPY (SELECT %s FROM (SELECT *, %s AS place FROM read_parquet(%s, file_row_number = true, hive_partitioning = false)), range(%d, %d) AS t(k)
			ORDER BY place + hash(place, k) %% %d, k, place, file_row_number) TO %s (FORMAT parquet, COMPRESSION zstd, PARQUET_VERSION v2, ROW_GROUP_SIZE 122880)`,
			columns, place, duck.Quote(path), first, last, max(1, f.Rows/mixed), duck.Quote(one.Path))
		if _, err := db.ExecContext(ctx, query); err != nil {
			return nil, err
		}
		out = append(out, one)
	}
	return out, nil
}

// copiedColumns says how each column of a file is copied, by its type.
func copiedColumns(ctx context.Context, db *sql.DB, path string) (string, error) {
	rows, err := db.QueryContext(ctx, "SELECT column_name, column_type FROM (DESCRIBE FROM read_parquet("+duck.Quote(path)+", hive_partitioning = false))")
	if err != nil {
		return "", err
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var name, kind string
		if err := rows.Scan(&name, &kind); err != nil {
			return "", err
		}
		column := `"` + name + `"`
		out = append(out, copied(column, kind)+" AS "+column)
	}
	return strings.Join(out, ", "), rows.Err()
}

func copied(column, kind string) string {
	const shift = " + k * 7919000 % 60000000" // microseconds, below a minute
	switch {
	case slices.Contains([]string{`"advisor"`, `"reviewer"`}, column):
		return fmt.Sprintf("md5(%s::VARCHAR || (k %% %d)::VARCHAR)::UUID", column, teams)
	case kind == "UUID":
		return "md5(" + column + "::VARCHAR || k::VARCHAR)::UUID"
	case column == `"row_hash"`:
		return "(hash(" + column + ", k) >> 33)::INTEGER"
	case column == `"exported_at"` || !strings.HasPrefix(kind, "TIMESTAMP"):
		return column
	case kind == "TIMESTAMP WITH TIME ZONE":
		return "make_timestamptz(epoch_us(" + column + ")" + shift + ")"
	}
	return "make_timestamp(epoch_us(" + column + ")" + shift + ")"
}
