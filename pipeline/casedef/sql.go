package casedef

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"
	"time"
)

//go:embed outcomes.sql
var outcomesSQL string

// SQL returns a query with one row an episode that has outcomes: the column
// episode, then those of Columns in order. It reads two relations that the
// caller has made:
//
//	ep(episode, started_at)      one row an episode, with its first contact
//	oc(episode, ...)             outcomes linked to an episode, with the columns of
//	                             the stored outcomes: outcome, practice, source, route,
//	                             seen_at, recorded_at, vet_level, disposition, time_critical,
//	                             diagnosis_group, euthanasia_reason, independent,
//	                             selection_p, responded, no_attend_reason
//
// Times may be TIMESTAMP (UTC) or TIMESTAMPTZ, in both relations. An outcome
// whose episode is not in ep is left out. The query is read-only, has no order
// and answers the same as Eval. It holds numbers and words of closed lists only.
func SQL(d *Definition) string {
	rep := []string{
		"{early}", us(early), "{window}", us(d.Window()), "{h_vet_level}", us(d.hours(VetLevel)),
		"{contact}", "greatest(oc.seen_at, coalesce(oc.recorded_at, oc.seen_at))",
		"{reasons}", quoted(d.Criteria[Euthanasia].Reasons),
		"{order}", "candidate DESC, visit DESC, source = 'vet' DESC, late, after_us, outcome",
	}
	if d.OwnerContactSeen {
		rep[slices.Index(rep, "{contact}")+1] = "oc.seen_at"
	}
	var events, comps []string
	conflicts := []string{
		"(vet_level_known AND owner_level_known AND vet_e <> owner_e)::INTEGER",
		"(vet_level_known AND owner_level_known AND vet_s <> owner_s)::INTEGER",
	}
	for _, e := range eventSQL {
		h := us(d.hours(e.c))
		events = append(events, fmt.Sprintf("bool_or(in_vet AND after_us <= %s AND %s) AS vet_%s", h, e.is, e.c),
			fmt.Sprintf("bool_or(owner AND after_us <= %s AND %s) AS owner_%s", h, e.is, e.c),
			fmt.Sprintf("bool_or(owner AND after_us <= %s AND %s AND %s) AS stands_%s", h, e.is, e.later, e.c))
		comps = append(comps, fmt.Sprintf("CASE WHEN vet_%[1]s OR stands_%[1]s THEN 1 WHEN %[2]s THEN 0 %[3]s END AS comp_%[1]s",
			e.c, e.answered, d.otherwiseSQL(e.c)))
		conflicts = append(conflicts, fmt.Sprintf("(owner_%[1]s AND NOT stands_%[1]s AND NOT vet_%[1]s)::INTEGER", e.c))
	}
	rep = append(rep, "{events}", strings.Join(events, ",\n    "), "{components}", strings.Join(comps, ",\n    "),
		"{conflicts}", strings.Join(conflicts, " + "))
	for _, l := range []string{"e", "s"} {
		rep = append(rep, "{level_"+l+"}", fmt.Sprintf(
			"CASE WHEN vet_%[1]s OR NOT vet_level_known AND owner_%[1]s THEN 1 WHEN vet_level_known THEN 0 %[2]s END", l, d.otherwiseSQL(VetLevel)))
	}
	rep = append(rep, "{need_emergency}", needSQL(d.Emergency, "comp_level_emergency"), "{need_same_day}", needSQL(d.SameDay, "comp_level_same_day"))
	return strings.NewReplacer(rep...).Replace(outcomesSQL)
}

// eventSQL says for each event which row shows it, when an owner's account is
// later than the vet's last look, and when the vets' rows answer it.
var eventSQL = []struct {
	c                   Component
	is, later, answered string
}{
	{Admitted, "is_admitted", "unseen", "answered"},
	{Surgery, "is_surgery", "unseen", "answered"},
	{TimeCritical, "is_critical", "untreated", "answered_critical"},
	{Death, "is_death", "unseen", "answered"},
	{Euthanasia, "is_euthanasia", "unseen", "answered"},
}

// otherwiseSQL is what a component is where no vet answered it.
func (d *Definition) otherwiseSQL(c Component) string {
	if d.Criteria[c].UnrecordedIsNo {
		return "WHEN late OR in_vet THEN 0 ELSE -1"
	}
	return "WHEN late THEN 0 ELSE -1"
}

// needSQL is yes if one component is, no if all are, else unknown.
func needSQL(components []Component, level string) string {
	var columns []string
	for _, c := range components {
		if c == VetLevel {
			columns = append(columns, level)
		} else {
			columns = append(columns, "comp_"+string(c))
		}
	}
	list := strings.Join(columns, ", ")
	return fmt.Sprintf("CASE WHEN greatest(%[1]s) = 1 THEN 1 WHEN least(%[1]s) = -1 THEN -1 ELSE 0 END", list)
}

func us(d time.Duration) string { return fmt.Sprint(d.Microseconds()) }

// quoted makes literals of words from a closed list; none gives a blank, which
// is no reason.
func quoted(words []string) string {
	return "'" + strings.Join(words, "', '") + "'"
}

// Column is a column that SQL makes.
type Column struct {
	Name, Type string
	// None is the SQL literal of the column for an episode without outcomes.
	None string
}

// Columns lists what SQL returns after episode, in order, as `cases` stores it.
func Columns() []Column {
	out := []Column{
		{"practice", "VARCHAR", "NULL"}, {"route", "TINYINT", "0"}, {"outcome_source", "TINYINT", "0"}, {"outcome_minutes", "INTEGER", "NULL"},
		{"vet_level", "TINYINT", "0"}, {"disposition", "VARCHAR", "NULL"}, {"euthanasia_reason", "VARCHAR", "NULL"},
		{"diagnosis_group", "VARCHAR", "NULL"}, {"independent", "TINYINT", "-1"},
	}
	for _, c := range []string{"comp_level_emergency", "comp_level_same_day", "comp_admitted", "comp_surgery", "comp_time_critical",
		"comp_death", "comp_euthanasia", "need_emergency", "need_same_day", "attended"} {
		out = append(out, Column{c, "TINYINT", "-1"})
	}
	return append(out, Column{"no_attend_reason", "VARCHAR", "NULL"},
		Column{"audit_selected", "BOOLEAN", "false"}, Column{"audit_p", "DOUBLE", "NULL"}, Column{"audit_responded", "BOOLEAN", "false"},
		Column{"outcomes", "SMALLINT", "0"}, Column{"conflicts", "SMALLINT", "0"}, Column{"died", "BOOLEAN", "false"})
}
