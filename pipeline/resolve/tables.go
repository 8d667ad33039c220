package resolve

import "strings"

// column is a stored column and its DuckDB type.
type column struct{ name, typ string }

// table is one of the record tables: its key and the columns that the exports
// bring (derived ones are added by the step that derives them).
type table struct {
	name    string
	key     []string
	columns []column
	derived []column
}

// stamp are the columns that every staged row carries beside its record:
// exported_at decides which export wins, row_hash whether anything changed,
// src_file and src_row where the row came from.
var stamp = []column{{"exported_at", "TIMESTAMPTZ"}, {"row_hash", "INTEGER"}}

var place = []column{{"src_file", "INTEGER"}, {"src_row", "BIGINT"}}

var (
	callsTable = table{
		name: "calls", key: []string{"call"},
		columns: parseColumns(`call UUID, contact UUID, animal UUID, owner UUID, advisor UUID, site VARCHAR,
			contact_type VARCHAR, contact_kind VARCHAR, started_at TIMESTAMPTZ, ended_at TIMESTAMPTZ, zone VARCHAR,
			species VARCHAR, breed_group VARCHAR, sex VARCHAR, neutered VARCHAR, age_months INTEGER, weight_kg DOUBLE,
			complaint VARCHAR, channel VARCHAR, level VARCHAR, rule_level VARCHAR, ruleset VARCHAR,
			override_reason VARCHAR, safety_net BOOLEAN, call_seconds INTEGER, person_hurt VARCHAR, formal_complaint VARCHAR,
			recorded_at TIMESTAMPTZ`),
		derived: parseColumns(`contact_kind_given VARCHAR, episode UUID, episode_month INTEGER, load_no INTEGER`),
	}
	checksTable = table{
		name: "checks", key: []string{"call", "observer", "finding", "seq"},
		columns: parseColumns(`call UUID, finding VARCHAR, seq SMALLINT, value_number DOUBLE, value_code VARCHAR,
			number_given DOUBLE, unit_given VARCHAR, count SMALLINT, window_s SMALLINT, observer VARCHAR, setting VARCHAR,
			animal_state VARCHAR, handling VARCHAR, state VARCHAR, reason VARCHAR, asked_at TIMESTAMPTZ, edited_at TIMESTAMPTZ`),
		derived: parseColumns(`episode_month INTEGER, load_no INTEGER`),
	}
	outcomesTable = table{
		name: "outcomes", key: []string{"outcome"},
		columns: parseColumns(`outcome UUID, call UUID, animal UUID, practice VARCHAR, source VARCHAR, route VARCHAR,
			seen_at TIMESTAMPTZ, recorded_at TIMESTAMPTZ, vet_level VARCHAR, disposition VARCHAR, time_critical BOOLEAN,
			diagnosis_group VARCHAR, euthanasia_reason VARCHAR, independent VARCHAR, match_score DOUBLE,
			treatment_begun BOOLEAN, selection_p DOUBLE, responded BOOLEAN, no_attend_reason VARCHAR,
			reviewer UUID, foreseeable VARCHAR, avoidable VARCHAR, review_reason VARCHAR`),
		derived: parseColumns(`episode UUID, episode_month INTEGER, linked_by VARCHAR, load_no INTEGER`),
	}
	coverageTable = table{
		name: "coverage", key: []string{"feed", "from_date", "to_date"},
		columns: parseColumns(`feed VARCHAR, from_date DATE, to_date DATE, delivered_at TIMESTAMPTZ, rows BIGINT`),
		derived: parseColumns(`load_no INTEGER`),
	}
)

// Tables are the names of the record tables in the order of a load.
var Tables = []string{"calls", "checks", "outcomes", "coverage"}

func parseColumns(list string) []column {
	var out []column
	for _, item := range strings.Split(list, ",") {
		name, typ, _ := strings.Cut(strings.TrimSpace(item), " ")
		out = append(out, column{name, typ})
	}
	return out
}

// stored are the columns of the table in the store, in order.
func (t table) stored() []column {
	var out []column
	out = append(out, t.columns...)
	out = append(out, stamp...)
	return append(out, t.derived...)
}

// staged are the columns of a staged part.
func (t table) staged() []column {
	var out []column
	out = append(out, t.columns...)
	out = append(out, stamp...)
	return append(out, place...)
}

// names lists columns for a SELECT, with a prefix such as "s.".
func names(cols []column, prefix string) string {
	list := make([]string, len(cols))
	for i, c := range cols {
		list[i] = prefix + `"` + c.name + `"`
	}
	return strings.Join(list, ", ")
}

// emptySelect is a SELECT of no rows with the given columns, for a table of
// which there are no files yet.
func emptySelect(cols []column) string {
	list := make([]string, len(cols))
	for i, c := range cols {
		list[i] = "NULL::" + c.typ + ` AS "` + c.name + `"`
	}
	return "SELECT " + strings.Join(list, ", ") + " WHERE false"
}

// tableNamed finds a record table.
func tableNamed(name string) (table, bool) {
	for _, t := range []table{callsTable, checksTable, outcomesTable, coverageTable} {
		if t.name == name {
			return t, true
		}
	}
	return table{}, false
}
