package release

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	"hindcheck/pipeline/codes"
)

// Column is one published column.
type Column struct {
	Name string
	// Type is string, number, integer or boolean.
	Type string
	// Title says in a line what it holds.
	Title string
	// Words are the legal values in order, nil for keys, numbers and open words.
	Words []string
	// Open marks a word column whose values are those that occur.
	Open bool
	// Ordered is whether the order of the words means something.
	Ordered bool
	// Quasi marks a quasi-identifier; NotAssessed a finding whose cell may hold
	// a state instead of a reading.
	Quasi, NotAssessed bool
	Unit               string
	Required           bool
	// sql is evaluated over the table's relation.
	sql string
}

// Table is one published table.
type Table struct {
	Name, Title string
	// Row says what one row stands for.
	Row     string
	Columns []Column
	// Key is the primary key; Refers are foreign keys, column to table.
	Key    []string
	Refers map[string]string
	from   string
	order  string
}

// words of numbers that cases stores.
var (
	levelWords  = []string{"home_care", "soon", "same_day", "emergency"}
	answerWords = []string{"yes", "no", "unknown"}
	// States are the words that a finding's cell holds where there is no
	// reading, in the order of their stored numbers -1 to -4.
	States = []string{"not_asked", "not_possible", "declined", "stopped_early"}
	// FlagStates are the words of a flag's cell.
	FlagStates = []string{"present", "absent", "not_asked", "not_possible", "declined", "stopped_early", "unreadable", "animal_not_described"}
	// HourBands are hours after the first contact.
	HourBands = []string{"before", "0-4", "4-12", "12-24", "24-72", "72+"}
	// LengthBands are minutes of a call.
	LengthBands = []string{"0-5", "5-10", "10-20", "20+"}
)

// numbered writes a word that cases stores as its place in a list, from 1.
func numbered(column string, list codes.List) string {
	out := "CASE " + column
	for i, w := range list.Words() {
		out += fmt.Sprintf(" WHEN %d THEN '%s'", i+1, w)
	}
	return out + " END"
}

// levelOf writes a numbered level, nothing for 0.
func levelOf(column string) string {
	return "CASE " + column + " WHEN 1 THEN 'home_care' WHEN 2 THEN 'soon' WHEN 3 THEN 'same_day' WHEN 4 THEN 'emergency' END"
}

func answerOf(column string) string {
	return "CASE " + column + " WHEN 1 THEN 'yes' WHEN 0 THEN 'no' ELSE 'unknown' END"
}

// hoursOf bands a number of microseconds after the first contact.
func hoursOf(us string) string {
	const hour = 3_600_000_000
	return fmt.Sprintf("CASE WHEN %[1]s IS NULL THEN NULL WHEN %[1]s < 0 THEN 'before' WHEN %[1]s <= %[2]d THEN '0-4' WHEN %[1]s <= %[3]d THEN '4-12' WHEN %[1]s <= %[4]d THEN '12-24' WHEN %[1]s <= %[5]d THEN '24-72' ELSE '72+' END",
		us, 4*hour, 12*hour, 24*hour, 72*hour)
}

func lengthOf(seconds string) string {
	return fmt.Sprintf("CASE WHEN %[1]s < 300 THEN '0-5' WHEN %[1]s < 600 THEN '5-10' WHEN %[1]s < 1200 THEN '10-20' WHEN %[1]s >= 1200 THEN '20+' END", seconds)
}

func text(name, title, sql string, words ...string) Column {
	return Column{Name: name, Type: "string", Title: title, Words: words, sql: sql}
}

func level(name, title, sql string) Column {
	return Column{Name: name, Type: "string", Title: title, Words: levelWords, Ordered: true, sql: sql}
}

func open(name, title, sql string) Column {
	return Column{Name: name, Type: "string", Title: title, Open: true, sql: sql}
}

func (c Column) must() Column    { c.Required = true; return c }
func (c Column) ordered() Column { c.Ordered = true; return c }

// quasiTitles say what the quasi-identifiers hold.
var quasiTitles = map[string]string{
	"species": "species of the animal", "breed_group": "group of breeds", "sex": "sex of the animal", "neutered": "whether the animal is neutered",
	"age": "age of the animal in months, as a band from-to", "complaint": "main complaint", "site": "where the contact was taken",
	"period":  "month of the first contact, or months from/to, both included",
	"hours":   "when the first contact was, on the local clock: weekday 8 to 19 h, weekday night, weekend",
	"ruleset": "version of the rules in force at the call, as recorded",
}

// Tables lists what is published. Advisor and practice keys are there only
// where links allow them.
func (r *Release) Tables(links Links) []Table {
	return []Table{r.episodes(links), r.flags(), r.findings(), r.calls(), r.checks(), r.outcomes(), coverage, setAside}
}

func (r *Release) episodes(links Links) Table {
	t := Table{Name: "episodes", Title: "Episodes: advice, what was found afterwards, and how that became known", Row: "one row an episode", Key: []string{"episode"},
		from: "release_rows r JOIN release_keys k ON k.episode = r.episode JOIN cases c ON c.episode = r.episode", order: "k.episode_key"}
	t.Columns = []Column{
		text("episode", "random key of the episode, new in each release", "k.episode_key").must(),
		text("animal", "random key of the animal; episodes share it only where enough others look the same", "k.animal_key").must(),
		text("owner", "random key of the owner; episodes share it only where enough others look the same", "k.owner_key").must(),
	}
	if links.Advisor {
		t.Columns = append(t.Columns, text("advisor", "random key of the advisor", "CASE WHEN c.advisor IS NOT NULL THEN release_key('advisor', c.advisor) END"))
	}
	if links.Practice {
		t.Columns = append(t.Columns, text("practice", "random key of the practice", "CASE WHEN c.practice IS NOT NULL THEN release_key('practice', c.practice) END"))
	}
	for _, name := range r.opt.Columns {
		c := open(name, quasiTitles[name], "nullif(r.p_"+name+", '')")
		c.Quasi = true
		t.Columns = append(t.Columns, c)
	}
	return t.with(
		Column{Name: "mature", Type: "boolean", Title: "whether outcomes had time to arrive", Required: true, sql: "r.mature"},
		level("level", "advice at the first contact", levelOf("c.level")),
		level("rule_low", "lowest level that the rules in force when the release was made may demand once unknown answers are known", levelOf("c.rule_low")),
		level("rule_level", "level that these rules demand; empty where nothing was assessed that they ask for", levelOf("c.rule_level")),
		level("rule_high", "highest level that they may demand", levelOf("c.rule_high")),
		level("recorded_rule_level", "level that the rules of the day demanded, as recorded", levelOf("c.recorded_rule_level")),
		level("later_level", "highest advice at later contacts of the episode", levelOf("c.later_level")),
		Column{Name: "contacts", Type: "integer", Title: "contacts of the episode", sql: "c.contacts::INTEGER"},
		Column{Name: "recontact_24h", Type: "boolean", Title: "whether the owner rang again within 24 hours", sql: "c.recontact_24h"},
		text("call_minutes", "length of the first contact in minutes", lengthOf("c.call_seconds"), LengthBands...).ordered(),
		text("handling", "how the animal was handled during the checks", "c.handling", codes.Handling.Words()...),
		text("person_hurt", "whether a person was hurt during the checks", "c.person_hurt", codes.PersonHurt.Words()...),
		Column{Name: "safety_net", Type: "boolean", Title: "whether the owner was told when to ring again", sql: "c.safety_net"},
		text("route", "how the outcome became known; empty if it did not", numbered("c.route", codes.Routes), codes.Routes.Words()...),
		text("outcome_source", "who found the outcome", numbered("c.outcome_source", codes.Sources), codes.Sources.Words()...),
		text("outcome_hours", "hours from the first contact to the outcome", hoursOf("(c.outcome_minutes * 60000000::BIGINT)"), HourBands...).ordered(),
		level("vet_level", "level of the outcome", levelOf("c.vet_level")),
		text("disposition", "what became of the animal", "c.disposition", codes.Dispositions.Words()...),
		text("euthanasia_reason", "why the animal was put to sleep", "c.euthanasia_reason", codes.EuthanasiaReasons.Words()...),
		open("diagnosis_group", "group of the diagnosis", r.joinRare("c.diagnosis_group")),
		text("independent", "whether the outcome was judged without knowing the telephone findings", answerOf("c.independent"), answerWords...),
		text("comp_level_emergency", "part of the case definition: the vet's level was emergency", answerOf("c.comp_level_emergency"), answerWords...).must(),
		text("comp_level_same_day", "the vet's level was same day or emergency", answerOf("c.comp_level_same_day"), answerWords...).must(),
		text("comp_admitted", "the animal was admitted", answerOf("c.comp_admitted"), answerWords...).must(),
		text("comp_surgery", "it was operated on", answerOf("c.comp_surgery"), answerWords...).must(),
		text("comp_time_critical", "it needed treatment that could not wait", answerOf("c.comp_time_critical"), answerWords...).must(),
		text("comp_death", "it died", answerOf("c.comp_death"), answerWords...).must(),
		text("comp_euthanasia", "it was put to sleep for a reason that counts", answerOf("c.comp_euthanasia"), answerWords...).must(),
		text("need_emergency", "needed emergency care by the case definition; unknown is not verified", answerOf("c.need_emergency"), answerWords...).must(),
		text("need_same_day", "needed care on the same day; unknown is not verified", answerOf("c.need_same_day"), answerWords...).must(),
		text("attended", "whether the animal was brought in", answerOf("c.attended"), answerWords...),
		text("no_attend_reason", "why an animal that was sent in did not go", "c.no_attend_reason", codes.NoAttendReasons.Words()...),
		Column{Name: "audit_selected", Type: "boolean", Title: "drawn for the audit sample", sql: "c.audit_selected"},
		Column{Name: "selection_p", Type: "number", Title: "probability of being drawn for the audit sample, where drawn", sql: "round(c.audit_p, 4)"},
		Column{Name: "audit_responded", Type: "boolean", Title: "answered the audit", sql: "c.audit_responded"},
		Column{Name: "outcomes", Type: "integer", Title: "reports of what was found", sql: "c.outcomes::INTEGER"},
		Column{Name: "conflicts", Type: "integer", Title: "disagreements among them", sql: "c.conflicts::INTEGER"},
		Column{Name: "died", Type: "boolean", Title: "died or put to sleep, for whatever reason", sql: "c.died"},
	)
}

func (t Table) with(more ...Column) Table {
	t.Columns = append(t.Columns, more...)
	return t
}

// joinRare joins the values of an open word that few rows have.
func (r *Release) joinRare(column string) string {
	return fmt.Sprintf("CASE WHEN %[1]s IS NULL THEN NULL WHEN count(*) OVER (PARTITION BY %[1]s) < %[2]d THEN 'other_rare' WHEN regexp_full_match(%[1]s, '[a-z0-9_]{1,48}') THEN %[1]s ELSE 'other' END",
		column, r.opt.RareBelow)
}

func (r *Release) flags() Table {
	t := Table{Name: "flags", Title: "Red flags: what each says of an episode under the rules in force when the release was made", Row: "one row an episode", Key: []string{"episode"},
		Refers: map[string]string{"episode": "episodes"},
		from:   "release_keys k JOIN cases c USING (episode)", order: "k.episode_key", Columns: []Column{text("episode", "key of the episode", "k.episode_key").must()}}
	exprs := r.src.FlagColumns()
	for i, f := range r.src.Meta().Flags {
		t.Columns = append(t.Columns, text(f.ID, f.Title, exprs[i], FlagStates...).must())
	}
	return t
}

func (r *Release) findings() Table {
	t := Table{Name: "findings", Title: "Findings: the reading of each home check on which the episode is judged", Row: "one row an episode", Key: []string{"episode"},
		Refers: map[string]string{"episode": "episodes"},
		from:   "release_keys k JOIN cases c USING (episode)", order: "k.episode_key", Columns: []Column{text("episode", "key of the episode", "k.episode_key").must()}}
	for _, f := range r.src.Meta().Findings {
		col := `c."f_` + f.ID + `"`
		states := "CASE " + col + " WHEN -2 THEN 'not_possible' WHEN -3 THEN 'declined' WHEN -4 THEN 'stopped_early' ELSE 'not_asked' END"
		if f.Numeric() {
			n := Column{Name: f.ID, Type: "number", Title: f.Label, Unit: f.Unit, sql: fmt.Sprintf("CASE WHEN %s >= 0 THEN %s / %d.0 END::DOUBLE", col, col, max(f.Scale, 1))}
			s := text(f.ID+"_state", "done, or why there is no reading of "+f.ID, fmt.Sprintf("CASE WHEN %s >= 0 THEN 'done' ELSE %s END", col, states), append([]string{"done"}, States...)...)
			t.Columns = append(t.Columns, n, s.must())
			continue
		}
		var b strings.Builder
		b.WriteString("CASE " + col)
		for i, c := range f.Codes {
			fmt.Fprintf(&b, " WHEN %d THEN '%s'", i+1, c)
		}
		b.WriteString(" ELSE " + states + " END")
		c := text(f.ID, f.Label, b.String(), f.Codes...)
		c.NotAssessed = true
		t.Columns = append(t.Columns, c.must())
	}
	return t
}

// period is the published period of a row that may have no episode: that of
// its month, if enough contacts share it.
const noEpisode = "CASE WHEN e.episode_key IS NOT NULL THEN %s ELSE m.label END"

func (r *Release) calls() Table {
	period := "NULL"
	if slices.Contains(r.opt.Columns, "period") {
		period = fmt.Sprintf(noEpisode, "e.period")
	}
	t := Table{Name: "calls", Title: "Contacts: every triage record, clinical or not", Row: "one row a triage record", Key: []string{"call"}, Refers: map[string]string{"episode": "episodes"},
		from: "release_calls c LEFT JOIN release_episode_of e ON e.call = c.call LEFT JOIN release_month m ON m.month = c.episode_month", order: "release_key('call', c.call)"}
	p := open("period", quasiTitles["period"], period)
	p.Quasi = true
	return t.with(
		text("call", "random key of the record", "release_key('call', c.call)").must(),
		text("contact", "random key of the contact; a transfer is one contact under two numbers", "release_key('contact', c.contact)"),
		text("episode", "key of the episode; empty where the contact is not clinical", "e.episode_key"),
		Column{Name: "opens_episode", Type: "boolean", Title: "whether this is the record that opened the episode", Required: true, sql: "coalesce(c.call = c.episode, false)"},
		p,
		text("contact_type", "clinical, or why the contact is left out", "c.contact_type", codes.ContactTypes.Words()...).must(),
		text("contact_kind", "place of the contact in the episode", "c.contact_kind", codes.ContactKinds.Words()...),
		text("hours_after", "hours since the first contact of the episode", hoursOf("(epoch_us(c.started_at) - epoch_us(e.started_at))"), HourBands...).ordered(),
		level("level", "advice", "c.level"),
		level("rule_level", "level that the rules of the day demanded, as recorded", "c.rule_level"),
		text("call_minutes", "length of the call in minutes", lengthOf("c.call_seconds"), LengthBands...).ordered(),
		Column{Name: "safety_net", Type: "boolean", Title: "whether the owner was told when to ring again", sql: "c.safety_net"},
		open("override_reason", "why the advice differs from the rules", r.joinRare("c.override_reason")),
	)
}

func (r *Release) checks() Table {
	t := Table{Name: "checks", Title: "Home checks and the vet's own readings, as recorded", Row: "one row a check", Refers: map[string]string{"call": "calls"},
		from:  "checks k JOIN release_calls c USING (call) LEFT JOIN release_units u ON u.finding = k.finding",
		order: "release_key('call', k.call), k.observer NULLS FIRST, k.finding, k.seq"}
	return t.with(
		text("call", "key of the triage record", "release_key('call', k.call)").must(),
		open("finding", "what was looked at", "k.finding").must(),
		Column{Name: "sequence", Type: "integer", Title: "repeat of the check in this call, from 1", Required: true, sql: "k.seq::INTEGER"},
		text("observer", "who looked", "k.observer", codes.Observers.Words()...),
		text("setting", "where", "k.setting", codes.Settings.Words()...),
		text("animal_state", "state of the animal", "k.animal_state", codes.AnimalStates.Words()...),
		text("handling", "how the animal was handled", "k.handling", codes.Handling.Words()...),
		text("state", "whether the check was done", "k.state", codes.States.Words()...).must(),
		text("reason", "why not", "k.reason", codes.Reasons.Words()...),
		open("value_code", "reading, if it is a word", word1("k.value_code")),
		Column{Name: "value_number", Type: "number", Title: "reading, if it is a number, in the unit beside it", sql: "k.value_number"},
		text("unit", "unit of the number", "CASE WHEN k.value_number IS NOT NULL THEN u.unit END"),
		text("hours_after", "hours from the start of this call to the reading", hoursOf("(epoch_us(k.asked_at) - epoch_us(c.started_at))"), HourBands...).ordered(),
	)
}

func word1(column string) string { return "nullif(" + word(column) + ", '')" }

func (r *Release) outcomes() Table {
	t := Table{Name: "outcomes", Title: "Reports of what was found afterwards", Row: "one row a report", Key: []string{"outcome"}, Refers: map[string]string{"episode": "episodes", "call": "calls"},
		from: "outcomes o JOIN release_rows r ON r.episode = o.episode JOIN release_keys k ON k.episode = o.episode JOIN cases c ON c.episode = o.episode LEFT JOIN release_calls x ON x.call = o.call", order: "release_key('outcome', o.outcome)"}
	return t.with(
		text("outcome", "random key of the report", "release_key('outcome', o.outcome)").must(),
		text("episode", "key of the episode", "k.episode_key").must(),
		text("call", "key of the triage record that the report names, if it names one", "CASE WHEN x.call IS NOT NULL THEN release_key('call', x.call) END"),
		text("source", "who found it", "o.source", codes.Sources.Words()...).must(),
		text("route", "how it became known", "o.route", codes.Routes.Words()...).must(),
		text("hours_after", "hours from the start of the record that the report names, else from the first contact",
			hoursOf("(epoch_us(o.seen_at) - coalesce(epoch_us(x.started_at), epoch_us(c.started_at)))"), HourBands...).ordered(),
		level("vet_level", "level", "o.vet_level"),
		text("disposition", "what became of the animal", "o.disposition", codes.Dispositions.Words()...),
		Column{Name: "time_critical", Type: "boolean", Title: "whether treatment could not wait", sql: "o.time_critical"},
		open("diagnosis_group", "group of the diagnosis", r.joinRare("o.diagnosis_group")),
		text("euthanasia_reason", "why the animal was put to sleep", "o.euthanasia_reason", codes.EuthanasiaReasons.Words()...),
		text("independent", "judged without knowing the telephone findings", "o.independent", codes.Independent.Words()...),
		Column{Name: "treatment_begun", Type: "boolean", Title: "whether treatment had begun before the vet's reading", sql: "o.treatment_begun"},
		Column{Name: "selection_p", Type: "number", Title: "probability of being drawn, for audit", sql: "round(o.selection_p, 4)"},
		Column{Name: "responded", Type: "boolean", Title: "whether the owner answered", sql: "o.responded"},
		text("no_attend_reason", "why the animal was not brought in", "o.no_attend_reason", codes.NoAttendReasons.Words()...),
	)
}

var coverage = Table{Name: "coverage", Title: "Coverage: which feed delivered outcomes for which days", Row: "one row a feed and month", Key: []string{"feed", "month"},
	from: "release_coverage c", order: "c.feed, c.month",
	Columns: []Column{
		text("feed", "number of the feed, new in each release", "c.feed").must(),
		text("month", "month", "c.month").must(),
		{Name: "days", Type: "integer", Title: "days of the month that a delivery covers", Required: true, sql: "c.days::INTEGER"},
		{Name: "days_in_month", Type: "integer", Title: "days of the month", Required: true, sql: "c.days_in_month::INTEGER"},
	}}

var setAside = Table{Name: "set_aside", Title: "Rows of exports that were refused", Row: "one row a column and reason; small numbers are joined",
	from: "release_set_aside s", order: "s.n DESC, s.col, s.reason",
	Columns: []Column{
		open("column", "column of the export, other_rare where few rows", "s.col").must(),
		open("reason", "why", "s.reason").must(),
		{Name: "rows", Type: "integer", Title: "rows", Required: true, sql: "s.n::INTEGER"},
	}}

// Finish makes the relations that the tables other than episodes read. labels
// are the published periods by month (yyyymm).
func (r *Release) Finish(ctx context.Context, labels map[int]string, tableMinimum int64) error {
	var months, units []string
	for m, l := range labels {
		months = append(months, fmt.Sprintf("(%d, '%s')", m, l))
	}
	for _, f := range r.src.Meta().Findings {
		units = append(units, fmt.Sprintf("('%s', '%s')", f.ID, strings.ReplaceAll(f.Unit, "'", "''")))
	}
	slices.Sort(months)
	period := "NULL::VARCHAR"
	if slices.Contains(r.opt.Columns, "period") {
		period = "nullif(r.p_period, '')"
	}
	return r.exec(ctx,
		"CREATE OR REPLACE TABLE release_units AS SELECT * FROM (VALUES "+orNone(units, "('', '')")+") AS t(finding, unit)",
		// A record belongs to the release if its episode does, or if it has none.
		`CREATE OR REPLACE VIEW release_calls AS SELECT * FROM calls`,
		`CREATE OR REPLACE TABLE release_episode_of AS SELECT c.call, k.episode_key, x.started_at, `+period+` AS period
FROM calls c JOIN release_keys k ON k.episode = c.episode JOIN release_rows r ON r.episode = c.episode JOIN cases x ON x.episode = c.episode`,
		fmt.Sprintf(`CREATE OR REPLACE TABLE release_month AS
WITH label AS (SELECT * FROM (VALUES %s) AS t(month, label)),
loose AS (SELECT l.label, count(DISTINCT c.contact) AS n FROM calls c JOIN label l ON l.month = c.episode_month
  WHERE c.call NOT IN (SELECT call FROM release_episode_of) GROUP BY l.label)
SELECT l.month, CASE WHEN n >= %d THEN l.label ELSE 'suppressed' END AS label FROM label l LEFT JOIN loose USING (label)`, orNone(months, "(0, '')"), r.opt.K),
		`CREATE OR REPLACE TABLE release_coverage AS
WITH feeds AS (SELECT feed, 'feed_' || row_number() OVER (ORDER BY release_key('feed', feed)) AS label FROM (SELECT DISTINCT feed FROM coverage)),
span AS (SELECT min(month) AS first, max(month) AS last FROM cases),
day AS (SELECT unnest(generate_series(make_date(first // 100, first % 100, 1)::TIMESTAMP, last_day(make_date(last // 100, last % 100, 1))::TIMESTAMP, INTERVAL 1 DAY))::DATE AS day FROM span)
SELECT f.label AS feed, strftime(d.day, '%Y-%m') AS month, count(DISTINCT d.day) FILTER (c.feed IS NOT NULL) AS days, count(DISTINCT d.day) AS days_in_month
FROM feeds f CROSS JOIN day d LEFT JOIN coverage c ON c.feed = f.feed AND d.day BETWEEN c.from_date AND c.to_date
GROUP BY ALL`,
		fmt.Sprintf(`CREATE OR REPLACE TABLE release_set_aside AS
WITH n AS (SELECT coalesce("column", '') AS col, coalesce(reason, '') AS reason, count(*) AS n FROM set_aside GROUP BY ALL)
SELECT CASE WHEN n < %[1]d THEN 'other_rare' ELSE col END AS col, CASE WHEN n < %[1]d THEN 'other_rare' ELSE reason END AS reason, sum(n)::BIGINT AS n
FROM n GROUP BY ALL HAVING sum(n) >= %[1]d`, tableMinimum))
}

func orNone(list []string, none string) string {
	if len(list) == 0 {
		return none
	}
	return strings.Join(list, ", ")
}

// Read gives the rows of a table one by one, ordered by random keys. The values
// are string, float64, int32 or bool, nil where the cell is empty.
func (r *Release) Read(ctx context.Context, t Table, row func([]any) error) error {
	exprs := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		exprs[i] = c.sql + ` AS "` + c.Name + `"`
	}
	rows, err := r.db.QueryContext(ctx, "SELECT "+strings.Join(exprs, ", ")+" FROM "+t.from+" ORDER BY "+t.order)
	if err != nil {
		return fmt.Errorf("table %s: %w", t.Name, err)
	}
	defer rows.Close()
	return scan(rows, len(t.Columns), t.Name, row)
}

func scan(rows *sql.Rows, n int, name string, row func([]any) error) error {
	cells, into := make([]any, n), make([]any, n)
	for i := range cells {
		into[i] = &cells[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return fmt.Errorf("table %s: %w", name, err)
		}
		if err := row(cells); err != nil {
			return err
		}
	}
	return rows.Err()
}
