package records

import "hindcheck/pipeline/codes"

// Names of the columns that the reader writes into every table.
const (
	ExportedAt = "exported_at" // when the export was made: a later export wins
	RowHash    = "row_hash"    // hash of the mapped values without exported_at, 32 bits
	SrcFile    = "src_file"    // number of the file within the load
	SrcRow     = "src_row"     // row as a spreadsheet shows it, counted from 1
)

// WeightLimits are the lightest and heaviest that an animal of a species can be,
// in kg, newborn or grown: common practice. Others are held to the widest.
var WeightLimits = map[string][2]float64{"dog": {0.05, 120}, "cat": {0.05, 15}, "rabbit": {0.02, 12}, "horse": {20, 1300}}

// Limits of numbers are the widest of any animal that is kept (a newborn
// rabbit, a heavy horse); limits of readings by species belong to the findings.
var (
	// Calls has one row a call: one triage record of one animal in one contact.
	Calls = table("calls",
		key("call", "call").must(), key("contact", "contact").must(), key("animal", "animal"), key("owner", "owner"), key("advisor", "advisor"),
		text("site"), words("contact_type", codes.ContactTypes).must(), words("contact_kind", codes.ContactKinds),
		at("started_at").must(), at("ended_at"), text("zone").written(),
		Column{Name: "species", Kind: Text, Required: true, Identifier: true}, text("breed_group"), words("sex", codes.Sexes), words("neutered", codes.Neutered),
		number("age_months", Int32, "months", 0, 1200), number("weight_kg", Float, "kg", 0.02, 1300),
		text("complaint"), text("channel"), words("level", codes.Levels), words("rule_level", codes.Levels), text("ruleset"), text("override_reason"),
		Column{Name: "safety_net", Kind: Boolean}, number("call_seconds", Int32, "s", 0, 86400), words("person_hurt", codes.PersonHurt),
		words("formal_complaint", codes.FormalComplaints), at("recorded_at"))

	// Checks has one row a home check in a call. seq tells repeats of one
	// finding in one call apart, counted from 1.
	Checks = table("checks",
		key("call", "call").must(), text("finding").must(), number("seq", Int16, "", 0, 32767).must(),
		Column{Name: "value_number", Kind: Float, Written: true}, text("value_code").written(),
		Column{Name: "number_given", Kind: Float, Written: true}, text("unit_given").written(),
		number("count", Int16, "", 0, 1000), number("window_s", Int16, "s", 1, 3600),
		words("observer", codes.Observers), words("setting", codes.Settings), words("animal_state", codes.AnimalStates), words("handling", codes.Handling),
		words("state", codes.States).must(), words("reason", codes.Reasons), at("asked_at"), at("edited_at"))

	// Outcomes has one row a report of what was found afterwards.
	Outcomes = table("outcomes",
		key("outcome", "outcome").must(), key("call", "call"), key("animal", "animal"), text("practice"),
		words("source", codes.Sources).must(), words("route", codes.Routes).must(), at("seen_at").must(), at("recorded_at"),
		words("vet_level", codes.Levels), words("disposition", codes.Dispositions), Column{Name: "time_critical", Kind: Boolean}, text("diagnosis_group"),
		words("euthanasia_reason", codes.EuthanasiaReasons), words("independent", codes.Independent), number("match_score", Float, "", 0, 1),
		Column{Name: "treatment_begun", Kind: Boolean}, number("selection_p", Float, "", 0, 1), Column{Name: "responded", Kind: Boolean},
		words("no_attend_reason", codes.NoAttendReasons),
		key("reviewer", "advisor"), words("foreseeable", codes.Judged), words("avoidable", codes.Judged), words("review_reason", codes.ReviewReasons))

	// Coverage has one row a delivery: which feed covered which days.
	Coverage = table("coverage",
		text("feed").must(), Column{Name: "from_date", Kind: Date, Required: true}, Column{Name: "to_date", Kind: Date, Required: true},
		at("delivered_at").must(), number("rows", Int64, "", 0, 1e15))

	// Runs has one row a run: staged checks that follow each other in a part and
	// share call, kind of observer (the vet or somebody else) and time of export.
	// first is the place of its first row in the part, counted from 0; n is how
	// many it has; part is the part's number within the file.
	Runs = Table{"runs", []Column{
		{Name: "call", Kind: UUID, Required: true}, {Name: "vet", Kind: Boolean, Required: true}, {Name: ExportedAt, Kind: Time, Required: true},
		{Name: SrcFile, Kind: Int32, Required: true}, {Name: "part", Kind: Int32, Required: true}, {Name: "first", Kind: Int64, Required: true}, {Name: "n", Kind: Int32, Required: true},
	}}

	// SetAside has one row a refused row. It never holds a cell: kind tells
	// only what sort of value was found and how long it was.
	SetAside = Table{"set_aside", []Column{
		{Name: "file", Kind: Text, Required: true}, {Name: "row", Kind: Int64, Required: true}, {Name: "column", Kind: Text},
		{Name: "reason", Kind: Text, Required: true}, {Name: "kind", Kind: Text}, {Name: "expected", Kind: Text}, {Name: "remedy", Kind: Text},
	}}
)

// Staged returns the table of a record kind: calls, checks, outcomes or
// coverage.
func Staged(record string) (Table, bool) {
	for _, t := range []Table{Calls, Checks, Outcomes, Coverage} {
		if t.Name == record {
			return t, true
		}
	}
	return Table{}, false
}

// table appends the columns that every staged table has.
func table(name string, cols ...Column) Table {
	return Table{name, append(cols,
		Column{Name: ExportedAt, Kind: Time, Required: true, Written: true},
		Column{Name: RowHash, Kind: Int32, Required: true, Written: true},
		Column{Name: SrcFile, Kind: Int32, Required: true, Written: true},
		Column{Name: SrcRow, Kind: Int64, Required: true, Written: true})}
}

func key(name, space string) Column          { return Column{Name: name, Kind: UUID, Space: space} }
func text(name string) Column                { return Column{Name: name, Kind: Text} }
func at(name string) Column                  { return Column{Name: name, Kind: Time} }
func words(name string, l codes.List) Column { return Column{Name: name, Kind: Text, Words: l} }
func number(name string, k Kind, unit string, low, high float64) Column {
	return Column{Name: name, Kind: k, Unit: unit, Low: low, High: high}
}

func (c Column) must() Column    { c.Required = true; return c }
func (c Column) written() Column { c.Written = true; return c }
