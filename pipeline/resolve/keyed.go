package resolve

import (
	"context"
	"fmt"
	"strings"
)

// The classes of a staged row against the present one of the same key.
const (
	classUnchanged   = "unchanged"
	classOlder       = "older"
	classSuperseding = "superseding"
)

// keyed decides, for a table whose rows stand alone (calls, outcomes,
// coverage), which staged rows enter the store. It makes
//
//	lose_T  rows beaten by another row of the load: src_file, src_row
//	cmp_T   rows whose key the store holds, with their class
//	inc_T   the rows that enter: new ones and superseding ones
//
// and books every staged row of the table. Between two rows of one key the
// later export wins, then the later file of the load, then the later row.
func (r *Resolver) keyed(ctx context.Context, t table) error {
	if r.retry != nil {
		if err := r.pickKeyed(ctx, t); err != nil {
			return err
		}
	}
	key := quoteAll(t.key)
	month := "NULL::INTEGER"
	if hasColumn(t.derived, "episode_month") {
		month = "c.episode_month"
	}
	script := []string{
		fmt.Sprintf(`CREATE TABLE lose_%[1]s AS
			WITH dup AS (SELECT %[2]s FROM st_%[1]s GROUP BY ALL HAVING count(*) > 1)
			SELECT src_file, src_row FROM (
				SELECT src_file, src_row, row_number() OVER (PARTITION BY %[2]s
					ORDER BY exported_at DESC, src_file DESC, src_row DESC) AS place
				FROM st_%[1]s SEMI JOIN dup USING (%[2]s))
			WHERE place > 1`, t.name, key),
		fmt.Sprintf(`CREATE TABLE cmp_%[1]s AS
			SELECT %[3]s, s.src_file, s.src_row, c.exported_at AS was_at, s.exported_at AS now_at, %[4]s AS was_month,
				CASE WHEN s.row_hash = c.row_hash THEN '%[5]s'
					WHEN s.exported_at < c.exported_at THEN '%[6]s' ELSE '%[7]s' END AS class
			FROM st_%[1]s s JOIN cur_%[1]s c USING (%[2]s)
			ANTI JOIN lose_%[1]s l ON s.src_file = l.src_file AND s.src_row = l.src_row`,
			t.name, key, prefixAll(t.key, "s."), month, classUnchanged, classOlder, classSuperseding),
		fmt.Sprintf(`CREATE VIEW inc_%[1]s AS SELECT s.* FROM st_%[1]s s
			ANTI JOIN lose_%[1]s l ON s.src_file = l.src_file AND s.src_row = l.src_row
			ANTI JOIN (SELECT src_file, src_row FROM cmp_%[1]s WHERE class <> '%[2]s') k
				ON s.src_file = k.src_file AND s.src_row = k.src_row`, t.name, classSuperseding),
	}
	for _, q := range script {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	return r.book(ctx, t.name)
}

// book enters the classes of a keyed table into the accounts of its exports.
func (r *Resolver) book(ctx context.Context, name string) error {
	query := fmt.Sprintf(`
		SELECT src_file, 'rows' AS class, count(*) FROM st_%[1]s GROUP BY ALL
		UNION ALL SELECT src_file, 'within', count(*) FROM lose_%[1]s GROUP BY ALL
		UNION ALL SELECT src_file, class, count(*) FROM cmp_%[1]s GROUP BY ALL`, name)
	rows, err := r.db.QueryContext(ctx, query)
	if err != nil {
		return fmt.Errorf("book %s: %w", name, err)
	}
	defer rows.Close()
	for rows.Next() {
		var file int32
		var class string
		var n int64
		if err := rows.Scan(&file, &class, &n); err != nil {
			return err
		}
		s := r.sums(file)
		switch class {
		case "rows":
			s.Rows += n
			s.New += n
		case "within":
			s.Within += n
			s.New -= n
		case classUnchanged:
			s.Unchanged += n
			s.New -= n
		case classOlder:
			s.Older += n
			s.New -= n
		case classSuperseding:
			s.Superseding += n
			s.New -= n
		}
	}
	return rows.Err()
}

func quoteAll(list []string) string { return prefixAll(list, "") }

func prefixAll(list []string, prefix string) string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = prefix + `"` + s + `"`
	}
	return strings.Join(out, ", ")
}

func hasColumn(cols []column, name string) bool {
	for _, c := range cols {
		if c.name == name {
			return true
		}
	}
	return false
}
