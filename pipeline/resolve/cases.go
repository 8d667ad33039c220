package resolve

import (
	"context"
	_ "embed"
	"fmt"
	"strings"
	"text/template"

	"hindcheck/pipeline/casedef"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/store"
)

// CasesFormat is the version of the derivation: a store whose cases were made
// by another one is derived anew.
const CasesFormat = 1

//go:embed cases.sql
var casesSQL string

var casesTemplate = template.Must(template.New("cases.sql").Option("missingkey=error").Parse(casesSQL))

// Relations are the records from which cases are derived, each a SELECT of the
// stored columns of whole months. Opening, if set, is a condition on the first
// record of an episode, for a part of a month.
type Relations struct{ Calls, Checks, Outcomes, Opening string }

// CasesSQL makes the SELECT that derives one narrow row an episode from the
// records, under the dictionary, rules and case definition of set. It serves
// the load, the rebuild, and views of the store as it was after an earlier load.
func CasesSQL(rel Relations, set Settings) (string, error) {
	ruled, ruleColumns, err := ruleSQL(set)
	if err != nil {
		return "", fmt.Errorf("compile rules: %w", err)
	}
	var pivot, columns, codes, numbers []string
	for i := range set.Dictionary.Findings {
		f := &set.Dictionary.Findings[i]
		pivot = append(pivot, fmt.Sprintf("max(packed * (no = %d)::BIGINT) AS %s", i, f.Column()))
		columns = append(columns, fmt.Sprintf("coalesce((nullif(w.%[1]s, 0) & 4294967295) - %[3]d, -1)::%[2]s AS %[1]s", f.Column(), f.SQLType(), lift))
		if f.Kind == findings.Number {
			numbers = append(numbers, fmt.Sprintf("('%s', %d::SMALLINT, %d, %d)", f.ID, i, f.Scale, f.MaxStored()))
			continue
		}
		numbers = append(numbers, fmt.Sprintf("('%s', %d::SMALLINT, NULL, NULL)", f.ID, i))
		for p, c := range f.Codes {
			codes = append(codes, fmt.Sprintf("(%d::SMALLINT, '%s', %d)", i, c.ID, p+1))
		}
	}
	var b strings.Builder
	err = casesTemplate.Execute(&b, map[string]string{
		"Calls": rel.Calls, "Checks": rel.Checks, "Outcomes": rel.Outcomes,
		"Codes": orNone(codes, "(NULL::SMALLINT, '', 0)"), "Numbers": orNone(numbers, "('', NULL::SMALLINT, 1, 0)"), "Lift": fmt.Sprint(lift),
		"Pivot": strings.Join(pivot, ",\n    "), "Findings": strings.Join(columns, ", "),
		"Opening": "call = episode" + and(rel.Opening), "Clock": clockSQL("SELECT zone, started_at FROM clinical WHERE call = episode" + and(rel.Opening)), "OnClock": onClock, "LocalStart": localStart, "Day": fmt.Sprint(int64(24 * hourMicros)),
		"Found": casedef.SQL(set.CaseDef), "Ruled": ruled, "Select": casesSelect(set, ruleColumns),
	})
	return b.String(), err
}

// and joins a condition to others.
func and(condition string) string {
	if condition == "" {
		return ""
	}
	return " AND " + condition
}

// lift makes the code of every reading positive: the lowest is -4.
const lift = 4

// orNone keeps a VALUES list from being empty.
func orNone(list []string, none string) string {
	if len(list) == 0 {
		return none
	}
	return strings.Join(list, ", ")
}

// ruleSQL adds the levels and flag bits of the rules in force to base; without
// rules every level is undetermined and there are no bits.
func ruleSQL(set Settings) (query string, columns []string, err error) {
	if set.Rules == nil || len(set.Rules.Flags) == 0 {
		return "SELECT *, 0::TINYINT AS rule_low, 0::TINYINT AS rule_level, 0::TINYINT AS rule_high FROM base", []string{"rule_low", "rule_level", "rule_high"}, nil
	}
	program, err := rules.Compile(set.Rules, set.Dictionary)
	if err != nil {
		return "", nil, err
	}
	part := rules.Part{Program: program}
	query, err = rules.Select("base", part)
	return query, part.Columns(), err
}

// casesSelect lists the columns of cases in their order.
func casesSelect(set Settings, ruleColumns []string) string {
	cols := []string{"b.episode, b.call, b.animal, b.owner, b.advisor, b.site, f.practice, b.species, b.breed_group, b.sex, b.neutered, b.age_months",
		"b.complaint, b.started_at, b.month, b.local_hour, b.weekday, b.ruleset, b.recorded_rule_level",
		"b.level, b.later_level, b.contacts, b.recontact_24h"}
	for _, c := range ruleColumns {
		cols = append(cols, "b."+c)
	}
	cols = append(cols, "b.handling, b.person_hurt, b.safety_net, b.call_seconds", foundColumns())
	for i := range set.Dictionary.Findings {
		cols = append(cols, "b."+set.Dictionary.Findings[i].Column())
	}
	return strings.Join(cols, ",\n  ")
}

// foundColumns are the outcome columns; an episode without any outcome gets
// the values that mean that nothing is known. The practice stands further up.
func foundColumns() string {
	var out []string
	for _, c := range casedef.Columns() {
		if c.Name != "practice" {
			out = append(out, fmt.Sprintf("coalesce(f.%[1]s, %[2]s)::%[3]s AS %[1]s", c.Name, c.None, c.Type))
		}
	}
	return strings.Join(out, ", ")
}

// cases derives the cases of every month that this load changed.
func (r *Resolver) cases(ctx context.Context) error {
	if r.set.RebuildCases {
		for _, f := range r.tx.Manifest.Files {
			if f.Part == store.Current && f.Table == "calls" {
				r.touched[f.Month] = true
			}
		}
	}
	months := monthList(r.touched)
	for _, m := range months {
		r.drop(store.Cases, "", m)
	}
	// What resolved the records is not needed any more.
	if err := r.forget(ctx); err != nil {
		return err
	}
	months, err := r.walkCases(ctx, months)
	if err != nil {
		return err
	}
	for _, m := range months {
		err := r.joinCases(ctx, m, Relations{
			Calls:    relation(r.present("calls", m), callsTable.stored()),
			Checks:   relation(r.present("checks", m), checksTable.stored()),
			Outcomes: relation(r.present("outcomes", m), outcomesTable.stored()),
		})
		if err != nil {
			return fmt.Errorf("month %d: %w", m, err)
		}
	}
	return nil
}

// rowsByMonth counts the rows that a table will have after this load.
func (r *Resolver) rowsByMonth(table string) map[int]int64 {
	rows := map[int]int64{}
	for _, f := range r.tx.Manifest.Select(store.Current, table) {
		rows[f.Month] += f.Rows
	}
	for _, a := range r.res.Add {
		if a.Part == store.Current && a.Table == table {
			rows[a.Month] = a.Rows
		}
	}
	return rows
}

// batchRows bounds the calls whose cases are derived by one query; it keeps memory
// from growing with the month.
const batchRows = 40_000

// usualChecks is how many checks a call has for which batchRows was measured.
const usualChecks = 6

// weight is by how many calls a batch grows: where calls have many checks, it
// is the checks that fill the memory.
func weight(calls, checks int64) int64 { return max(calls, checks/usualChecks) }

func (r *Resolver) batchRows() int64 {
	if r.set.BatchRows > 0 {
		return r.set.BatchRows
	}
	return batchRows
}

// inBatches groups months so that each group has at most limit rows, or is one
// month.
func inBatches(months []int, rows map[int]int64, limit int64) [][]int {
	var out [][]int
	total := int64(0)
	for _, m := range months {
		if len(out) == 0 || total+rows[m] > limit {
			out, total = append(out, nil), 0
		}
		out[len(out)-1] = append(out[len(out)-1], m)
		total += rows[m]
	}
	return out
}

const casesOrder = " ORDER BY started_at, episode"

// joinCases derives the cases of one month by SQL, a file for each stretch of time
// that holds about as many calls as a batch may.
func (r *Resolver) joinCases(ctx context.Context, month int, rel Relations) error {
	cuts, err := r.cuts(ctx, rel)
	if err != nil {
		return err
	}
	for i := range cuts {
		part := rel
		calls := fmt.Sprintf("started_at >= make_timestamptz(%d)", cuts[i])
		if i == 0 {
			calls = "true"
		}
		if i+1 < len(cuts) {
			part.Opening = fmt.Sprintf("started_at < make_timestamptz(%d)", cuts[i+1])
			// Later contacts of an episode start within the window of its first.
			calls += fmt.Sprintf(" AND started_at <= make_timestamptz(%d)", int64(cuts[i+1])+int64(r.set.EpisodeHours)*hourMicros)
		}
		part.Calls = "SELECT * FROM (" + rel.Calls + ") WHERE " + calls
		query, err := CasesSQL(part, r.set)
		if err != nil {
			return err
		}
		if _, err := r.writeAs(ctx, fmt.Sprintf("cases-%d-%d", month, i), store.Staged{Part: store.Cases, Month: month}, query+casesOrder); err != nil {
			return err
		}
	}
	return nil
}

// cuts are the times, in microseconds, at which a month is cut into stretches
// of about as many calls as a batch may have; the first is only its beginning.
func (r *Resolver) cuts(ctx context.Context, rel Relations) ([]int, error) {
	calls := rel.Calls
	n, err := r.count(ctx, "SELECT count(*) FROM ("+calls+")")
	if err != nil {
		return nil, err
	}
	checks, err := r.count(ctx, "SELECT count(*) FROM ("+rel.Checks+")")
	parts := (weight(n, checks) + r.batchRows() - 1) / r.batchRows()
	if err != nil || parts <= 1 {
		return []int{0}, err
	}
	at := make([]string, parts)
	for i := range at {
		at[i] = fmt.Sprint(float64(i) / float64(parts))
	}
	return r.ints(ctx, fmt.Sprintf("SELECT DISTINCT unnest(quantile_disc(epoch_us(started_at), [%s])) FROM (%s) ORDER BY 1", strings.Join(at, ", "), calls))
}

// present are the files that will hold a table's month after this load.
func (r *Resolver) present(tab string, month int) []string {
	if path, ok := r.fresh[tab][month]; ok {
		if path == "" {
			return nil
		}
		return []string{path}
	}
	return r.tx.Paths(store.Current, tab, month)
}
