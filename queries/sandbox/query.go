package sandbox

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"

	duckdb "github.com/duckdb/duckdb-go/v2"
)

// sealed is a database that only answers SELECTs over its views.
type sealed struct {
	db       *sql.DB
	views    []View
	internal map[string]bool
}

// newSealed seals a database that has its views already; files are what they
// read.
func newSealed(ctx context.Context, db *sql.DB, files []string) (*sealed, error) {
	s := &sealed{db: db}
	var err error
	if s.views, err = listViews(ctx, db); err != nil {
		return nil, fmt.Errorf("list the views: %w", err)
	}
	if s.internal, err = internalNames(ctx, db); err != nil {
		return nil, fmt.Errorf("list the engine's own tables: %w", err)
	}
	return s, seal(ctx, db, files)
}

// inspect refuses a text that is more than one harmless SELECT.
func (s *sealed) inspect(ctx context.Context, text string) error {
	if len(text) > maxText {
		return refuse("the text has %d bytes: expected at most %d", len(text), maxText)
	}
	var tree string
	if err := s.db.QueryRowContext(ctx, "SELECT json_serialize_sql(?::VARCHAR)::VARCHAR", text).Scan(&tree); err != nil {
		return refuse("%s", err)
	}
	c := checker{internal: s.internal}
	for _, v := range s.views {
		c.views = append(c.views, v.Name)
	}
	return c.check([]byte(tree))
}

// run writes the rows of a query that inspect let pass.
func (s *sealed) run(ctx context.Context, text, format string, w io.Writer) error {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	return conn.Raw(func(raw any) error {
		// Not PrepareContext: it executes every statement but the last.
		stmt, err := raw.(*duckdb.Conn).Prepare(text)
		if err != nil {
			return refuse("%s", err)
		}
		defer stmt.Close()
		prepared := stmt.(*duckdb.Stmt)
		kind, err := prepared.StatementType()
		if err != nil {
			return err
		}
		if kind != duckdb.STATEMENT_TYPE_SELECT {
			return refuse("expected one SELECT, found another statement")
		}
		rows, err := prepared.QueryContext(ctx, nil)
		if err != nil {
			return fmt.Errorf("run the query: %w", err)
		}
		defer rows.Close()
		return write(rows, format, w)
	})
}

// write hands every row to the sink of the format.
func write(rows driver.Rows, format string, w io.Writer) error {
	names := rows.Columns()
	cols := make([]column, len(names))
	for i, name := range names {
		c, err := columnOf(name, rows.(driver.RowsColumnTypeDatabaseTypeName).ColumnTypeDatabaseTypeName(i))
		if err != nil {
			return err
		}
		cols[i] = c
	}
	uniqueNames(cols)
	out, err := newSink(format, w, cols)
	if err != nil {
		return err
	}
	raw, values := make([]driver.Value, len(cols)), make([]any, len(cols))
	for {
		err := rows.Next(raw)
		if errors.Is(err, io.EOF) {
			return out.close()
		}
		if err != nil {
			return fmt.Errorf("read the result: %w", err)
		}
		for i, c := range cols {
			if values[i], err = c.value(raw[i]); err != nil {
				return err
			}
		}
		if err := out.row(values); err != nil {
			return err
		}
	}
}
