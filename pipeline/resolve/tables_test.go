package resolve

import (
	"testing"

	"hindcheck/pipeline/records"
)

// The columns here and those that the reader writes are one list in two
// spellings: DuckDB types, and Arrow's.
func TestStagedColumnsAreTheReaders(t *testing.T) {
	types := map[records.Kind]string{records.UUID: "UUID", records.Text: "VARCHAR", records.Time: "TIMESTAMPTZ", records.Date: "DATE",
		records.Int16: "SMALLINT", records.Int32: "INTEGER", records.Int64: "BIGINT", records.Float: "DOUBLE", records.Boolean: "BOOLEAN"}
	for _, name := range Tables {
		mine, _ := tableNamed(name)
		theirs, _ := records.Staged(name)
		cols := mine.staged()
		if len(cols) != len(theirs.Columns) {
			t.Errorf("%s: %d columns, the reader writes %d", name, len(cols), len(theirs.Columns))
			continue
		}
		for i, c := range theirs.Columns {
			if cols[i].name != c.Name || cols[i].typ != types[c.Kind] {
				t.Errorf("%s: column %d is %v, the reader writes %s (%v)", name, i, cols[i], c.Name, types[c.Kind])
			}
		}
	}
}
