package resolve

import (
	"context"
	"fmt"

	"hindcheck/pipeline/store"
)

// outcomes resolves the outcomes and links them to episodes: by the call's
// number where the practice kept it, else by the animal, if exactly one of its
// episodes began within LinkHours before. Two that fit are ambiguous: the row
// is set aside, never guessed. An outcome that fits none stays unlinked and is
// tried again when a later load brings calls of that animal.
func (r *Resolver) outcomes(ctx context.Context) error {
	// Its joins need more room than all before; nothing else takes much now.
	if err := r.limit(ctx, r.opt.MemoryMB); err != nil {
		return err
	}
	if err := r.keyed(ctx, outcomesTable); err != nil {
		return err
	}
	if err := r.findLinks(ctx); err != nil {
		return err
	}
	if err := r.refuseLinks(ctx); err != nil {
		return err
	}
	return r.writeOutcomes(ctx)
}

// findLinks makes the table link: the outcomes that are new or may have another link than
// before, each with its episode and how that was found.
func (r *Resolver) findLinks(ctx context.Context) error {
	at := fmt.Sprintf(`s.animal IS NOT NULL AND w.animal IS NOT NULL AND s.animal <> w.animal AS other_animal, epoch_us(s.seen_at) < epoch_us(w.started_at) - %d AS early`, int64(hourMicros))
	script := []string{
		// Stored outcomes of the animals and calls of this load, one join a statement: of several
		// at once none finds room to spill.
		`CREATE TABLE stored_seek AS SELECT outcome FROM cur_outcomes SEMI JOIN stirred USING (animal)`,
		`CREATE TABLE stored_named AS SELECT outcome FROM cur_outcomes SEMI JOIN callmonth USING (call)`,
		`INSERT INTO stored_seek SELECT outcome FROM stored_named ANTI JOIN stored_seek USING (outcome)`,
		`DELETE FROM stored_seek WHERE outcome IN (SELECT outcome FROM cmp_outcomes WHERE class = 'superseding')`,
		`CREATE TABLE seek AS
			SELECT outcome, call, animal, seen_at, true AS fresh, src_file, src_row, NULL::UUID AS was_episode, NULL::INTEGER AS was_month, NULL::VARCHAR AS was_by FROM inc_outcomes
			UNION ALL
			SELECT o.outcome, o.call, o.animal, o.seen_at, false, NULL, NULL, o.episode, o.episode_month, o.linked_by FROM cur_outcomes o SEMI JOIN stored_seek USING (outcome)`,
		// Calls of this load and stored ones are sought one after the other: taken together,
		// those of a large load would have to be told from those of a large store first, which
		// took more memory than all the rest. What names a call of this load leaves few to seek.
		`CREATE TABLE by_call AS SELECT s.outcome, w.episode, w.month, w.started_at, ` + at + ` FROM seek s JOIN placed w USING (call)`,
		`CREATE TABLE older AS SELECT s.outcome, call, s.animal, s.seen_at FROM seek s ANTI JOIN by_call USING (outcome) WHERE call IS NOT NULL`,
		`INSERT INTO by_call SELECT s.outcome, w.episode, w.episode_month, w.started_at, ` + at + `
			FROM older s JOIN cur_calls w USING (call) WHERE call NOT IN (SELECT call FROM gone SEMI JOIN older USING (call))`,
		// Nearly every outcome names its call: only calls of the animals of the few others
		// are joined with them.
		`CREATE TABLE astray AS SELECT outcome, animal, seen_at FROM seek ANTI JOIN by_call USING (outcome) WHERE animal IS NOT NULL`,
		`CREATE TABLE theirs AS SELECT animal, episode, month, started_at, true AS placed FROM placed SEMI JOIN astray USING (animal) WHERE episode = call
			UNION ALL SELECT animal, episode, episode_month, started_at, false FROM cur_calls SEMI JOIN astray USING (animal) WHERE episode = call`,
		`DELETE FROM theirs WHERE NOT placed AND episode IN (SELECT call FROM (SELECT call FROM placed UNION ALL SELECT call FROM gone)
			SEMI JOIN (SELECT episode AS call FROM theirs WHERE NOT placed) USING (call))`,
		fmt.Sprintf(`CREATE TABLE by_animal AS SELECT s.outcome, min(w.episode) AS episode, min(w.month) AS month, count(*) AS n
			FROM astray s JOIN theirs w ON s.animal = w.animal
				AND epoch_us(w.started_at) - epoch_us(s.seen_at) <= %d AND epoch_us(s.seen_at) - epoch_us(w.started_at) < %d
			GROUP BY s.outcome`, int64(hourMicros), int64(r.set.LinkHours)*hourMicros),
		`CREATE TABLE link AS SELECT s.outcome, s.fresh, s.src_file, s.src_row, s.was_episode, s.was_month, s.was_by,
				CASE WHEN c.other_animal OR c.early THEN NULL WHEN c.outcome IS NOT NULL THEN c.episode WHEN a.n = 1 THEN a.episode END AS episode,
				CASE WHEN c.other_animal OR c.early THEN NULL WHEN c.episode IS NOT NULL THEN c.month WHEN a.n = 1 THEN a.month END AS month,
				CASE WHEN c.other_animal THEN 'other_animal' WHEN c.early THEN 'before_call' WHEN c.episode IS NOT NULL THEN 'call'
					WHEN a.n = 1 THEN 'animal' WHEN a.n > 1 THEN 'ambiguous' ELSE 'unlinked' END AS how,
				(year(s.seen_at) * 100 + month(s.seen_at))::INTEGER AS own_month
			FROM seek s LEFT JOIN by_call c USING (outcome) LEFT JOIN by_animal a USING (outcome)`,
	}
	for _, q := range script {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	return nil
}

// refuseLinks sets aside fresh outcomes whose link contradicts the store, and
// counts the others.
func (r *Resolver) refuseLinks(ctx context.Context) error {
	refused, err := r.count(ctx, `SELECT count(*) FROM link WHERE fresh AND how IN ('other_animal', 'before_call', 'ambiguous')`)
	if err != nil {
		return err
	}
	if refused > 0 {
		// They were booked as new or superseding; the account is mended below.
		if err := r.unbook(ctx); err != nil {
			return err
		}
		err := r.setAside(ctx, `SELECT s.src_file, s.src_row,
			CASE how WHEN 'ambiguous' THEN 'animal' WHEN 'before_call' THEN 'seen_at' ELSE 'call' END AS "column",
			CASE how WHEN 'ambiguous' THEN 'ambiguous_link' WHEN 'before_call' THEN 'outcome_before_call' ELSE 'contradictory_link' END AS reason,
			CASE how WHEN 'before_call' THEN 'time' ELSE 'pseudonym' END AS kind,
			CASE how WHEN 'ambiguous' THEN 'one episode of the animal before the outcome, found several'
				WHEN 'before_call' THEN 'a time after the call that it names'
				ELSE 'the animal of the call that it names' END AS expected,
			CASE how WHEN 'ambiguous' THEN 'give the call number in the outcomes export'
				ELSE 'check the call number in the outcomes export' END AS remedy
			FROM inc_outcomes s JOIN link l USING (outcome) WHERE l.fresh AND l.how IN ('other_animal', 'before_call', 'ambiguous')`)
		if err != nil {
			return err
		}
	}
	rows, err := r.db.QueryContext(ctx, `SELECT how, count(*) FROM link WHERE fresh GROUP BY ALL ORDER BY ALL`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var how string
		var n int64
		if err := rows.Scan(&how, &n); err != nil {
			return err
		}
		r.res.Links[how] += n
	}
	return rows.Err()
}

// unbook takes refused outcomes out of the account under which keyed put them.
func (r *Resolver) unbook(ctx context.Context) error {
	rows, err := r.db.QueryContext(ctx, `SELECT s.src_file, k.outcome IS NOT NULL, count(*) FROM inc_outcomes s
		JOIN link l USING (outcome) LEFT JOIN cmp_outcomes k USING (outcome)
		WHERE l.fresh AND l.how IN ('other_animal', 'before_call', 'ambiguous') GROUP BY ALL`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var file int32
		var stored bool
		var n int64
		if err := rows.Scan(&file, &stored, &n); err != nil {
			return err
		}
		s := r.sums(file)
		s.Rows -= n
		if stored {
			s.Superseding -= n
		} else {
			s.New -= n
		}
	}
	return rows.Err()
}

// writeOutcomes writes every month of outcomes that changes.
func (r *Resolver) writeOutcomes(ctx context.Context) error {
	script := []string{
		`CREATE TABLE enter AS SELECT outcome, src_file, src_row, episode, coalesce(month, own_month) AS month, how FROM link
			WHERE fresh AND how IN ('call', 'animal', 'unlinked')`,
		// A stored outcome never becomes ambiguous again: its old link stands.
		`CREATE TABLE relink AS SELECT outcome, episode, coalesce(month, own_month) AS month, how, was_month FROM link
			WHERE NOT fresh AND how IN ('call', 'animal', 'unlinked')
			AND (episode IS DISTINCT FROM was_episode OR coalesce(month, own_month) <> was_month OR how IS DISTINCT FROM was_by)`,
		// What a refused correction would have replaced stays.
		`CREATE TABLE out_gone AS SELECT k.outcome, k.was_month FROM cmp_outcomes k SEMI JOIN enter USING (outcome) WHERE k.class = 'superseding'`,
		`CREATE TABLE touch_outcomes AS SELECT outcome, was_month, now_at FROM cmp_outcomes WHERE class = 'unchanged' AND now_at > was_at`,
	}
	for _, q := range script {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	months, err := r.ints(ctx, `SELECT month FROM enter UNION SELECT month FROM relink UNION SELECT was_month FROM relink
		UNION SELECT was_month FROM out_gone UNION SELECT was_month FROM touch_outcomes ORDER BY 1`)
	if err != nil {
		return err
	}
	rows, err := r.perMonth(ctx, `SELECT month, count(*) FROM enter GROUP BY month`)
	if err != nil {
		return err
	}
	cols := outcomesTable.stored()
	for _, batch := range inBatches(months, rows, batchOutcomes) {
		if err := r.enterOutcomes(ctx, batch); err != nil {
			return err
		}
		for _, m := range batch {
			r.touched[m] = true
			if err := r.writeOutcomesOf(ctx, m, rows[m], cols); err != nil {
				return err
			}
		}
	}
	return r.history(ctx, "outcomes", months, `SELECT o.* FROM cur_outcomes o
		SEMI JOIN (SELECT outcome FROM out_gone UNION SELECT outcome FROM relink) x USING (outcome)`, "episode_month", "seen_at, outcome", cols)
}

// batchOutcomes bounds the outcomes that are taken from the staged files at a time;
// taken a month at a time, the files would be read and joined for each.
const batchOutcomes = 150_000

// enterOutcomes puts the outcomes that enter some months into the table entering.
func (r *Resolver) enterOutcomes(ctx context.Context, months []int) error {
	list := joinInts(months)
	staged, err := r.stagedOf(ctx, outcomesTable, `SELECT DISTINCT src_file FROM enter WHERE month IN (`+list+`)`)
	if err != nil {
		return err
	}
	return r.exec(ctx, fmt.Sprintf(`CREATE OR REPLACE TABLE entering AS SELECT s.*, e.episode, e.month AS episode_month, e.how AS linked_by, %d::INTEGER AS load_no
		FROM (%s) s JOIN (SELECT src_file, src_row, episode, month, how FROM enter WHERE month IN (%s)) e
			ON s.src_file = e.src_file AND s.src_row = e.src_row`, r.tx.No, staged, list))
}

// fewOutcomes are so few that a second query for the other stretch takes longer than
// the bytes are worth.
const fewOutcomes = 1_000

// writeOutcomesOf writes the outcomes of a month: so many of entering, and what stays
// or moves there of those that the store holds.
func (r *Resolver) writeOutcomesOf(ctx context.Context, m int, entering int64, cols []column) error {
	const order = "seen_at, outcome"
	query := fmt.Sprintf(`SELECT * FROM entering WHERE episode_month = %d`, m)
	if len(r.tx.Paths(store.Current, "outcomes")) == 0 && entering < fewOutcomes {
		path := r.copyPath("outcomes", m)
		n, err := copyQuery(ctx, r.db, path, "SELECT "+names(cols, "")+" FROM ("+query+") ORDER BY "+order)
		if err == nil {
			r.copied("outcomes", m, path, n)
		}
		return err
	}
	if len(r.tx.Paths(store.Current, "outcomes")) > 0 {
		query += fmt.Sprintf(`
		UNION ALL BY NAME
		SELECT o.* REPLACE (greatest(o.exported_at, t.now_at) AS exported_at) FROM cur_outcomes o LEFT JOIN touch_outcomes t USING (outcome)
		ANTI JOIN out_gone USING (outcome) ANTI JOIN relink USING (outcome) WHERE o.episode_month = %[1]d
		UNION ALL BY NAME
		SELECT o.* REPLACE (l.episode AS episode, l.month AS episode_month, l.how AS linked_by, %[2]d::INTEGER AS load_no)
		FROM cur_outcomes o JOIN relink l USING (outcome) WHERE l.month = %[1]d`, m, r.tx.No)
	}
	return r.replace(ctx, "outcomes", m, cols, "("+query+")", order)
}

// coverage resolves the deliveries; they are few and stand in one file.
func (r *Resolver) coverage(ctx context.Context) error {
	if err := r.keyed(ctx, coverageTable); err != nil {
		return err
	}
	changes, err := r.count(ctx, `SELECT (SELECT count(*) FROM inc_coverage) + (SELECT count(*) FROM cmp_coverage WHERE class = 'unchanged' AND now_at > was_at)`)
	if err != nil || changes == 0 {
		return err
	}
	key := quoteAll(coverageTable.key)
	cols := coverageTable.stored()
	query := fmt.Sprintf(`(
		SELECT s.*, %[1]d::INTEGER AS load_no FROM inc_coverage s
		UNION ALL BY NAME
		SELECT c.* REPLACE (greatest(c.exported_at, t.now_at) AS exported_at) FROM cur_coverage c
		LEFT JOIN (SELECT %[2]s, now_at FROM cmp_coverage WHERE class = 'unchanged') t USING (%[2]s)
		ANTI JOIN (SELECT %[2]s FROM cmp_coverage WHERE class = 'superseding') g USING (%[2]s))`, r.tx.No, key)
	if err := r.replace(ctx, "coverage", 0, cols, query, "feed, from_date, to_date"); err != nil {
		return err
	}
	return r.history(ctx, "coverage", []int{0}, fmt.Sprintf(`SELECT 0 AS m, c.* FROM cur_coverage c
		SEMI JOIN (SELECT %[1]s FROM cmp_coverage WHERE class = 'superseding') g USING (%[1]s)`, key), "m", "feed, from_date, to_date", cols)
}
