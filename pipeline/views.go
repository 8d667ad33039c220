package pipeline

import (
	"fmt"
	"path/filepath"
	"strings"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// FileInfo is a file of the present state, for other programs to read.
type FileInfo struct {
	Table string `json:"table"`
	Month int    `json:"month,omitempty"`
	Rows  int64  `json:"rows"`
	Path  string `json:"path"`
}

// ListFiles lists the files of the present by table: the records and cases.
// Superseded rows and reasons are left out.
func ListFiles(dir string) ([]FileInfo, error) {
	s, err := store.Open(dir)
	if err != nil {
		return nil, fmt.Errorf("list files: %w", err)
	}
	defer s.Close()
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	out := []FileInfo{}
	for _, name := range append([]string{"cases"}, resolve.Tables...) {
		part, table := store.Current, name
		if name == "cases" {
			part, table = store.Cases, ""
		}
		for _, f := range s.Manifest.Select(part, table) {
			out = append(out, FileInfo{name, f.Month, f.Rows, filepath.Join(abs, filepath.FromSlash(f.Path))})
		}
	}
	return out, nil
}

// ViewsSQL writes CREATE VIEW statements over the explicit files, for any
// engine that has read_parquet. The list is that of this moment: a later load
// makes new files and takes old ones away.
func ViewsSQL(files []FileInfo) string {
	paths := map[string][]string{}
	var order []string
	for _, f := range files {
		if paths[f.Table] == nil {
			order = append(order, f.Table)
		}
		paths[f.Table] = append(paths[f.Table], f.Path)
	}
	var b strings.Builder
	for _, name := range order {
		fmt.Fprintf(&b, "CREATE OR REPLACE VIEW %s AS SELECT * FROM read_parquet(%s, hive_partitioning = false);\n", name, duck.FileList(paths[name]))
	}
	return b.String()
}
