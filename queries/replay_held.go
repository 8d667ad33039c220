package queries

import (
	"context"
	"errors"
	"fmt"
	"sync"
)

// replayTables name the tables that hold what the questions about a replay have
// in common, all empty where nothing is held.
type replayTables struct {
	moved, asStored, hours string
	// cut is what hours counts as sent in.
	cut int
}

// HoldReplay works out once, for all questions about a replay that are asked with
// held until release: which episodes of the scope's months the sets of p put at
// another level than the stored one, and what the episodes come to as they are
// stored. Without it every question works them out anew. Months and maturity of
// the questions must be those of the scope; days are held for one cut.
//
// The three read different columns and each has parts that keep one processor
// waiting, so they run side by side.
func (d *DB) HoldReplay(ctx context.Context, s Scope, p Replay, cut int) (held Replay, release func() error, err error) {
	args := with(s.args(), "cut", cut)
	moved, err := d.expandNamed("replay_moved", names{replay: p}, args)
	if err != nil {
		return p, nil, err
	}
	n := d.tables.Add(1)
	held, held.held = p, replayTables{fmt.Sprintf("replay_moved_%d", n), fmt.Sprintf("replay_as_stored_%d", n), fmt.Sprintf("replay_hours_%d", n), cut}
	parts := []struct{ table, text string }{{held.held.moved, moved}, {held.held.asStored, d.asStoredSQL(args)}, {held.held.hours, d.hoursSQL(args)}}
	release = func() (err error) {
		for _, part := range parts {
			if _, e := d.db.ExecContext(context.WithoutCancel(ctx), "DROP TABLE IF EXISTS "+part.table); e != nil {
				err = errors.Join(err, fmt.Errorf("drop %s: %w", part.table, e))
			}
		}
		return err
	}
	var tasks []func() error
	for _, part := range parts {
		tasks = append(tasks, func() error {
			text, bound := fill(d.ofMonths("", part.text, args), args)
			if _, err := d.db.ExecContext(ctx, "CREATE TABLE "+part.table+" AS "+text, bound...); err != nil {
				return fmt.Errorf("hold %s: %w", part.table, err)
			}
			return nil
		})
	}
	if err := sideBySide(tasks...); err != nil {
		return p, nil, errors.Join(err, release())
	}
	return held, release, nil
}

// ReplayRows are the answers to the questions about a replay.
type ReplayRows struct {
	Counts   []ReplayCountsRow
	Episodes []ReplayEpisodesRow
	Days     []ReplayDaysRow
}

// ReplayRows asks them all, side by side: ReplayCounts, ReplayEpisodes with most of
// each kind, and ReplayDays with the cut and the hours of the night.
func (d *DB) ReplayRows(ctx context.Context, s Scope, p Replay, most, cut, nightFrom, nightTo int) (r ReplayRows, err error) {
	held, release, err := d.HoldReplay(ctx, s, p, cut)
	if err != nil {
		return r, err
	}
	err = sideBySide(
		func() (err error) { r.Counts, err = d.ReplayCounts(ctx, s, held); return err },
		func() (err error) { r.Episodes, err = d.ReplayEpisodes(ctx, s, held, most); return err },
		func() (err error) { r.Days, err = d.ReplayDays(ctx, s, held, cut, nightFrom, nightTo); return err })
	return r, errors.Join(err, release())
}

// sideBySide runs tasks at once and waits for all.
func sideBySide(tasks ...func() error) error {
	failed := make([]error, len(tasks))
	var all sync.WaitGroup
	for i, task := range tasks {
		all.Go(func() { failed[i] = task() })
	}
	all.Wait()
	return errors.Join(failed...)
}

// asStored is the relation of what replay_counts counts, as it is stored.
func (d *DB) asStored(p Replay, args map[string]any) string {
	if p.held.asStored != "" {
		return p.held.asStored
	}
	return "(" + d.asStoredSQL(args) + ")"
}

// asStoredSQL groups columns as they stand: making one small number of several
// costs more than grouping by them all. Ages are counted beside, by their lower
// ends, which costs less than three more columns to group by.
func (d *DB) asStoredSQL(args map[string]any) string {
	return fmt.Sprintf(`SELECT month, started_at < $mature_before AS mature, %s, level, rule_low, rule_level, rule_high, need_emergency, need_same_day, route,
    count(*) AS n, count(age_months) AS aged, count_if(age_months >= 6) AS half_year, count_if(age_months >= 84) AS seven_years
  FROM cases WHERE %s GROUP BY ALL`, d.keys(), d.inMonths(args))
}

// hours is the relation of calls by the hour in which they began.
func (d *DB) hours(p Replay, args map[string]any) string {
	if cut, ok := args["cut"].(int); ok && p.held.hours != "" && cut == p.held.cut {
		return p.held.hours
	}
	return "(" + d.hoursSQL(args) + ")"
}

// hoursSQL takes started_at and local_hour as they stand, since what the calendar
// does to a time costs more than the rest.
func (d *DB) hoursSQL(args map[string]any) string {
	return `SELECT site, local_hour AS h, epoch_us(started_at) // 3600000000 AS hour_utc, count(*) AS calls,
    count_if(rule_level >= $cut::TINYINT) AS sent, count_if(rule_level >= $cut::TINYINT OR level >= $cut::TINYINT) AS kept
  FROM cases WHERE ` + d.inMonths(args) + ` GROUP BY ALL`
}
