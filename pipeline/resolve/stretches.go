package resolve

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/pagefile"
)

// Four calls in five open their episode, and nine outcomes in ten name such a call:
// their columns episode and call say the same, sixteen bytes that do not pack. Files
// of these tables begin with those rows and go on with all others, each in row groups
// of their own and in the order of the table, so that two columns of the former stand
// on one set of pages (pagefile).

// stretches are the conditions of the rows that stand together in a file of a table.
var stretches = map[string][]string{
	callsTable.name:    {"episode IS NOT DISTINCT FROM call", "episode IS DISTINCT FROM call"},
	outcomesTable.name: {"episode IS NOT DISTINCT FROM call", "episode IS DISTINCT FROM call"},
}

// copyRows writes the rows of a relation, in the order of some columns, as a new
// Parquet file of a table and returns how many they are; of none there is no file.
func copyRows(ctx context.Context, db *sql.DB, tab, path, list, from, order string) (rows int64, err error) {
	which, ok := stretches[tab]
	if !ok {
		return copyQuery(ctx, db, path, "SELECT "+list+" FROM "+from+" ORDER BY "+order)
	}
	var parts []string
	defer func() {
		for _, p := range parts {
			err = errors.Join(err, os.Remove(p))
		}
	}()
	for i, condition := range which {
		part := fmt.Sprintf("%s.%d", path, i)
		n, err := copyQuery(ctx, db, part, "SELECT "+list+" FROM "+from+" WHERE "+condition+" ORDER BY "+order)
		if err != nil {
			return 0, err
		}
		if n > 0 {
			parts = append(parts, part)
		}
		rows += n
	}
	if rows == 0 {
		return 0, nil
	}
	return rows, pagefile.Join(path, parts...)
}

// copyQuery writes the rows of a SELECT as a new Parquet file, unless there are none.
func copyQuery(ctx context.Context, db *sql.DB, path, query string) (rows int64, err error) {
	res, err := db.ExecContext(ctx, "COPY ("+query+") TO "+duck.Quote(path)+" ("+parquetOptions+")")
	if err != nil {
		return 0, fmt.Errorf("%w (in: %s)", err, firstLine(query))
	}
	if rows, err = res.RowsAffected(); err == nil && rows == 0 {
		err = os.Remove(path)
	}
	return rows, err
}
