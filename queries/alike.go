package queries

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"
)

// alike names the episodes that are alike in all that advice, rules and flags
// are counted by: one row each, with n episodes. A line of ten million calls has
// some hundred thousand of them, so that a question which counts them costs next
// to nothing beside one that reads every episode.
const alike = "alike"

// kept says which episodes the table alike holds.
type kept struct {
	from, to int
	mature   time.Time
}

// holds says whether those months lie in what is kept.
func (k *kept) holds(from, to int) bool { return k != nil && from >= k.from && to <= k.to }

// Keep counts the episodes of a period once, for the questions that follow over
// any months within it and with the same moment of maturity; they give the same
// rows as without. A database that lacks a column keeps nothing.
func (d *DB) Keep(ctx context.Context, s Scope) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.kept.holds(s.From, s.To) && d.kept.mature.Equal(s.MatureBefore) {
		return nil
	}
	d.kept = nil
	text := strings.NewReplacer("$from_month", fmt.Sprint(s.From), "$to_month", fmt.Sprint(s.To)).Replace(
		d.countAlike("TIMESTAMP '" + s.MatureBefore.UTC().Format("2006-01-02 15:04:05.999999") + "'"))
	if _, err := d.db.ExecContext(ctx, "CREATE OR REPLACE TABLE "+alike+" AS "+text); err != nil {
		if err = d.unpublished(alike, err); d.published {
			return nil
		}
		return fmt.Errorf("keep episodes alike: %w", err)
	}
	d.kept = &kept{s.From, s.To, s.MatureBefore.UTC()}
	return nil
}

// alikeFrom is the relation of episodes alike for a question with these
// arguments: the one that is kept, if it holds them all, or one made on the spot.
// mature names the parameter by which episodes are mature; empty for a question
// that does not ask.
func (d *DB) alikeFrom(mature string, args map[string]any) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	from, _ := args["from_month"].(int)
	to, _ := args["to_month"].(int)
	before, _ := args["mature_before"].(time.Time)
	if d.kept.holds(from, to) && (mature == "" || before.Equal(d.kept.mature)) {
		return alike
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
