package resolve

import (
	"context"
	"fmt"
	"math"
	"strings"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/store"
)

// limits makes a relation of ranges: finding, species, low, high, unit.
func limits(list []findings.SpeciesRange) string {
	var rows []string
	for _, r := range list {
		rows = append(rows, fmt.Sprintf("('%s', '%s', %v::DOUBLE, %v::DOUBLE, '%s')", r.Finding.ID, r.Species, r.Low, r.High, strings.ReplaceAll(r.Finding.Unit, "'", "''")))
	}
	return "(SELECT * FROM (VALUES " + orNone(rows, "(NULL, NULL, NULL::DOUBLE, NULL::DOUBLE, NULL)") + ") AS t(finding, species, low, high, unit))"
}

// doubtful selects the staged readings that are impossible for some species:
// those outside the narrowest of its finding's hard ranges. Reading has held
// them to the widest, for it does not know the species.
func (r *Resolver) doubtful() string {
	narrow := map[string]findings.Range{}
	var order []string
	for _, s := range r.set.Dictionary.HardRanges() {
		n, ok := narrow[s.Finding.ID]
		if !ok {
			order, n = append(order, s.Finding.ID), s.Range
		}
		narrow[s.Finding.ID] = findings.Range{Low: math.Max(n.Low, s.Low), High: math.Min(n.High, s.High)}
	}
	var parts []string
	for _, id := range order {
		if f, _ := r.set.Dictionary.Finding(id); len(f.Hard) > 1 {
			parts = append(parts, fmt.Sprintf("finding = '%s' AND NOT value_number BETWEEN %v AND %v", id, narrow[id].Low, narrow[id].High))
		}
	}
	return orNone(parts, "false")
}

// outliers sets aside readings that cannot be true of the animal's species, as
// the call says it. It makes the table outlier: src_file, src_row, finding, seq.
func (r *Resolver) outliers(ctx context.Context) error {
	tried := ""
	if r.retry != nil {
		tried = `SEMI JOIN (SELECT s.src_file, s.src_row, s.finding FROM st_checks s JOIN tried t USING (src_file, src_row)
			WHERE t.chosen AND (t.finding IS NULL OR t.finding = s.finding)) USING (src_file, src_row, finding)`
	}
	script := []string{
		`CREATE TABLE doubt AS SELECT call, finding, seq, value_number, src_file, src_row FROM st_checks ` + tried + ` WHERE ` + r.doubtful(),
		`CREATE TABLE doubt_calls AS SELECT call, species FROM inc_calls SEMI JOIN doubt USING (call)`,
		`INSERT INTO doubt_calls SELECT call, species FROM cur_calls SEMI JOIN doubt USING (call) ANTI JOIN doubt_calls USING (call)`,
		`CREATE TABLE outlier AS SELECT d.src_file, d.src_row, d.finding, d.seq, l.species, l.low, l.high, l.unit
			FROM doubt d JOIN doubt_calls USING (call) JOIN ` + limits(r.set.Dictionary.HardRanges()) + ` l USING (finding, species)
			WHERE NOT d.value_number BETWEEN l.low AND l.high`,
	}
	for _, q := range script {
		if err := r.exec(ctx, q); err != nil {
			return err
		}
	}
	n, err := r.count(ctx, `SELECT count(*) FROM outlier`)
	if err != nil || n == 0 {
		return err
	}
	r.hasOutliers = true
	return r.setAside(ctx, `SELECT o.src_file, o.src_row, coalesce(min(b."column"), any_value(f.reading)) AS "column", 'out_of_range' AS reason, 'a number' AS kind,
		concat(o.finding, ' of a ', o.species, ' from ', o.low::DECIMAL(18, 2)::DOUBLE, ' to ', o.high::DECIMAL(18, 2)::DOUBLE, ' ', o.unit) AS expected,
		'look at the row in the export, and at the species of its call' AS remedy
		FROM outlier o JOIN files f ON f.no = o.src_file LEFT JOIN label b ON b.src_file = o.src_file AND b.finding = o.finding
		GROUP BY ALL`)
}

// withoutOutliers takes readings that were set aside out of a SELECT of staged checks.
func (r *Resolver) withoutOutliers(query string) string {
	if !r.hasOutliers {
		return query
	}
	return "SELECT * FROM (" + query + ") ANTI JOIN outlier USING (src_file, src_row, finding, seq)"
}

// countUnusual counts the readings of chk that enter the store by finding and
// species, and those outside the usual range of well animals. They are marked
// by being counted, and nothing else: illness is what calls are about.
func (r *Resolver) countUnusual(ctx context.Context, months []int) error {
	usual := r.set.Dictionary.UsualRanges()
	if len(usual) == 0 {
		return nil
	}
	var calls []string
	for _, m := range months {
		calls = append(calls, r.present("calls", m)...)
	}
	rows, err := r.db.QueryContext(ctx, `SELECT finding, k.species, count(*), count(*) FILTER (n.value_number < coalesce(u.low, a.low)), count(*) FILTER (n.value_number > coalesce(u.high, a.high))
		FROM (SELECT call, finding::VARCHAR AS finding, value_number FROM chk LEFT JOIN cmp_chk c USING (call, vet)
			WHERE value_number IS NOT NULL AND src_row > 0 AND (c.class IS NULL OR c.class = '`+classSuperseding+`')) n
		JOIN (`+relation(calls, parseColumns("call UUID, species VARCHAR"))+`) k USING (call)
		LEFT JOIN `+limits(usual)+` u USING (finding, species)
		LEFT JOIN (SELECT * FROM `+limits(usual)+` WHERE species = '`+findings.AnySpecies+`') a USING (finding)
		WHERE coalesce(u.low, a.low) IS NOT NULL GROUP BY ALL ORDER BY ALL`)
	if err != nil {
		return fmt.Errorf("count readings outside the usual range: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var u store.Unusual
		if err := rows.Scan(&u.Finding, &u.Species, &u.Readings, &u.Below, &u.Above); err != nil {
			return err
		}
		r.res.Unusual = store.AddUnusual(r.res.Unusual, u)
	}
	return rows.Err()
}
