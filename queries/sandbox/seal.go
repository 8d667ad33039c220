package sandbox

import (
	"context"
	"database/sql"
	"fmt"
	"sort"
	"strings"

	"hindcheck/pipeline/duck"
)

// seal takes from a database whatever a query could reach beside its views.
// files are those that the views read. It cannot be undone: the last setting
// locks all others.
func seal(ctx context.Context, db *sql.DB, files []string) error {
	for _, s := range []string{
		"SET allow_community_extensions = false",
		"SET allow_unsigned_extensions = false",
		"SET autoinstall_known_extensions = false",
		"SET autoload_known_extensions = false",
		"SET temp_directory = ''",
		"SET allow_persistent_secrets = false",
		"SET enable_logging = false",
		"SET allowed_directories = []",
		"SET allowed_paths = " + duck.FileList(files),
		"SET enable_external_access = false",
		"SET lock_configuration = true",
	} {
		if _, err := db.ExecContext(ctx, s); err != nil {
			name, _, _ := strings.Cut(s, " =")
			return fmt.Errorf("seal the database (%s): %w", name, err)
		}
	}
	return nil
}

// internalNames lists the engine's own tables and views.
func internalNames(ctx context.Context, db *sql.DB) (map[string]bool, error) {
	rows, err := db.QueryContext(ctx, "SELECT view_name FROM duckdb_views() WHERE internal UNION SELECT table_name FROM duckdb_tables() WHERE internal")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[string]bool{}
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		out[strings.ToLower(name)] = true
	}
	return out, rows.Err()
}

// View is one relation that a query may read.
type View struct {
	Name    string       `json:"view"`
	Columns []ViewColumn `json:"columns"`
}

// ViewColumn is a column of a view with the engine's type of it.
type ViewColumn struct {
	Name string `json:"column"`
	Type string `json:"type"`
}

// listViews describes the relations of a database that are not the engine's.
func listViews(ctx context.Context, db *sql.DB) ([]View, error) {
	rows, err := db.QueryContext(ctx, `SELECT table_name, column_name, data_type FROM information_schema.columns
		WHERE table_schema = 'main' AND table_catalog = current_database() ORDER BY table_name, ordinal_position`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []View
	for rows.Next() {
		var table, column, kind string
		if err := rows.Scan(&table, &column, &kind); err != nil {
			return nil, err
		}
		if len(out) == 0 || out[len(out)-1].Name != table {
			out = append(out, View{Name: table})
		}
		v := &out[len(out)-1]
		v.Columns = append(v.Columns, ViewColumn{column, kind})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Name < out[j].Name })
	return out, rows.Err()
}
