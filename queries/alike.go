package queries

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"
)

// kept is a table of the episodes that are alike in all that advice, rules and
// flags are counted by: one row each, with n episodes. A line of ten million
// calls has some hundred thousand of them, so that a question which counts them
// costs next to nothing beside one that reads every episode.
type kept struct {
	table    string
	from, to int
	mature   time.Time
}

// holds says whether a question about those months may read it; mature is nil
// for one that does not ask for maturity.
func (k kept) holds(from, to int, mature *time.Time) bool {
	return from >= k.from && to <= k.to && (mature == nil || mature.Equal(k.mature))
}

// inMemory is up to how many episodes Keep reads them all: opening a file for
// each month and question costs more than a short line's counting.
const inMemory = 100_000

// Keep counts the episodes of a period once, for the questions that follow over
// any months within it and with the same moment of maturity; they give the same
// rows as without. A database that lacks a column keeps nothing.
func (d *DB) Keep(ctx context.Context, s Scope) error {
	d.keeping.Lock()
	defer d.keeping.Unlock()
	mature := s.MatureBefore.UTC()
	if d.keptFor(s.From, s.To, &mature) != "" {
		return nil
	}
	if err := d.holdCases(ctx); err != nil {
		return fmt.Errorf("keep episodes: %w", err)
	}
	// Another table each time: a question may still be reading the one before.
	k := kept{fmt.Sprintf("alike_%d", len(d.kept)), s.From, s.To, mature}
	if err := d.fillKept(ctx, k); err != nil {
		if d.published {
			return nil
		}
		return fmt.Errorf("keep episodes alike: %w", err)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.kept = append(d.kept, k)
	return nil
}

// fillKept makes the table of k: of a long line a month at a time, since the
// month is one of the keys and the groups of a few years need not fit into memory.
func (d *DB) fillKept(ctx context.Context, k kept) error {
	count := func(from, to int) string {
		text := strings.NewReplacer("$from_month", fmt.Sprint(from), "$to_month", fmt.Sprint(to)).Replace(
			d.countAlike("TIMESTAMP '" + k.mature.Format("2006-01-02 15:04:05.999999") + "'"))
		return d.ofMonths("", text, map[string]any{"from_month": from, "to_month": to})
	}
	if !d.isLong() {
		_, err := d.db.ExecContext(ctx, "CREATE TABLE "+k.table+" AS "+count(k.from, k.to))
		return err
	}
	if _, err := d.db.ExecContext(ctx, "CREATE TABLE "+k.table+" AS SELECT * FROM ("+count(k.from, k.from)+") LIMIT 0"); err != nil {
		return err
	}
	_, err := eachMonth(Scope{From: k.from, To: k.to}, func(s Scope) ([]int, error) {
		_, err := d.db.ExecContext(ctx, "INSERT INTO "+k.table+" "+count(s.From, s.To))
		return nil, err
	})
	return err
}

// holdCases reads the episodes of a short line into memory, if they are files.
func (d *DB) holdCases(ctx context.Context) error {
	var files, n int64
	if err := d.db.QueryRowContext(ctx, "SELECT count(*) FROM duckdb_views() WHERE view_name = 'cases'").Scan(&files); err != nil || files == 0 {
		return err
	}
	if err := d.db.QueryRowContext(ctx, "SELECT count(*) FROM cases").Scan(&n); err != nil {
		return err
	}
	if n > inMemory {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.long = true
		return nil
	}
	if _, err := d.db.ExecContext(ctx, "CREATE TABLE IF NOT EXISTS cases_held AS SELECT * FROM cases; CREATE OR REPLACE VIEW cases AS SELECT * FROM cases_held"); err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.held = true
	return nil
}

// keptFor is the table that holds those months, empty if none does.
func (d *DB) keptFor(from, to int, mature *time.Time) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, k := range d.kept {
		if k.holds(from, to, mature) {
			return k.table
		}
	}
	return ""
}

// alikeFrom is the relation of episodes alike for a question with these
// arguments: one that is kept, if it holds them all, or one made on the spot.
// mature names the parameter by which episodes are mature; empty for a question
// that does not ask.
func (d *DB) alikeFrom(mature string, args map[string]any) string {
	from, _ := args["from_month"].(int)
	to, _ := args["to_month"].(int)
	var before *time.Time
	if at, ok := args["mature_before"].(time.Time); ok && mature != "" {
		before = &at
	}
	if table := d.keptFor(from, to, before); table != "" && (mature == "" || before != nil) {
		return table
	}
	return "(" + d.countAlike(cmp.Or(mature, "NULL::TIMESTAMP")) + ")"
}

// countAlike counts the episodes of a period.
func (d *DB) countAlike(mature string) string {
	return fmt.Sprintf(`SELECT month, level, rule_level, rule_high, need_emergency, need_same_day, route, started_at < %s AS mature, %s%s, count(*) AS n
  FROM cases WHERE month BETWEEN $from_month AND $to_month GROUP BY ALL`, mature, d.keys(), d.words(""))
}

// flagTotals lists, for each flag, in how many episodes it was present or
// unknown, over rows of n episodes each.
func (d *DB) flagTotals(what string) (string, error) {
	prefix, ok := map[string]string{"present": "fired", "unknown": "unknown"}[what]
	if !ok {
		return "", fmt.Errorf("flags %q: expected present or unknown", what)
	}
	parts := make([]string, len(d.meta.Flags))
	for i := range parts {
		parts[i] = "sum(" + bit(prefix, i) + " * n)::BIGINT"
	}
	return "[" + strings.Join(parts, ", ") + "]::BIGINT[]", nil
}
