package queries

import (
	"fmt"
	"slices"
	"strings"
	"text/template"

	"hindcheck/pipeline/rules"
)

// names are the parts of a question that cannot be bound because they are
// columns. Each is checked against a fixed list before it reaches the text.
type names struct {
	finding string
	cluster string
	replay  Replay
	// program is a rules file that is asked about, nil for the one in force.
	program *rules.Program
	tuning  Tuning
	// filled are the counts of filled checks as a list of rows, if they are known.
	filled string
	// most bounds the rows of a list, 0 for all of it.
	most int
}

// expand fills the template functions of a question:
//
//	{{most}}            LIMIT, if the caller wants the first rows of a list only
//	{{with filled}}     what column_fill counts of checks as a list of rows, if it is known
//	{{strata}}          the strata columns, each followed by a comma
//	{{stratum}}         a list of the strata columns as text
//	{{flags "x"}}       [x of flag 0, x of flag 1, ...] for x one of
//	                    present, unknown: episodes of a group, see flagSums
//	{{alike "$x"}}      rows of n episodes that are alike, mature before $x; see alike.go
//	{{flagTotals "x"}}  what flags gives, over such rows
//	{{range flagWords}} .Word, .First, .Last, .States of each 64 flags, see flag_states.go
//	{{range flagList}}  .Bit, .Present, .Unknown, .State, .Level for each flag
//	{{nFired}}          how many flags fired
//	{{words}}           the columns that hold the bits, each after a comma
//	{{firedWords}}      the same, those of the flags that fired only
//	{{range coded}}     .ID, .Column for each coded finding
//	{{anyWords}}        the same, each under any_value and its own name
//	{{range findings}}  .Position, .Column for each finding
//	{{finding}}         the column of the finding that was asked for
//	{{cluster}}         the column of the cluster that was asked for
//	{{ruled}}           a SELECT of cases with the levels of two sets of rules
//	{{ruledWords}}      a list of the columns of bits that fired in {{ruled}}
//	{{unpackedWords}}   those columns from the list, each after a comma
//	{{oldFired}}        the flags of either that fired, as a list of positions;
//	{{newFired}}        over those columns
//	{{levelsOf "c" "p"}} p_low, p_level and p_high of the code c of {{ruled}}
//	{{moved}}           the answer of replay_moved as a relation
//	{{inMonths}}        the condition that cases are of the months asked about, see there
//	{{asStored}}        episodes alike in what replay_counts counts by, and calls by
//	{{hours}}           the hour for replay_days, as stored; see replay_held.go
//	{{keys}}            site, species and the strata columns, each once
//	{{tuneRelation "x"}} relation x with candidate thresholds and the rest of the rules;
//	{{tuneRest "cut"}}  {{tuneBins}}, {{tuneNothing}}, {{nTuned}} and {{tuneReadings}} over it: see Tuning
//	{{nFindings}}       how many findings there are
//	{{tried "x"}}       relation x with the bits of the rules that are asked about
//	{{nTried}}          how many flags those rules have
//	{{usual}}           a common table of the usual ranges: finding, species, low, high
//	{{triedSums "x"}}   [x of flag 0, ...] of those rules for x one of fired, unknown
func (d *DB) expand(q Question, n names, args map[string]any) (string, error) {
	t, err := template.New(q.Name).Funcs(template.FuncMap{
		"strata":   func() string { return strings.Join(append(slices.Clone(d.meta.Strata), ""), ", ") },
		"stratum":  func() string { return d.stratum() },
		"flags":    func(what string) (string, error) { return d.flagSums(what) },
		"flagList": func() []flagSQL { return d.flagList() },
		"filled":   func() string { return n.filled },
		"most": func() string {
			if n.most == 0 {
				return ""
			}
			return fmt.Sprintf("LIMIT %d", n.most)
		},
		"nFlags":        func() int { return len(d.meta.Flags) },
		"usual":         func() string { return d.usual() },
		"nFired":        func() string { return d.fired() },
		"words":         func() string { return d.words("") },
		"anyWords":      func() string { return d.words("any_value") },
		"firedWords":    func() string { return d.firedWords() },
		"coded":         func() []codedSQL { return d.coded() },
		"findings":      func() []findingSQL { return d.findingList() },
		"tuneRelation":  func(relation string) (string, error) { return n.tuning.relation(relation) },
		"tuneRest":      func(cut string) string { return n.tuning.rest(cut) },
		"tuneBins":      func() string { return n.tuning.bins() },
		"tuneNothing":   func() string { return n.tuning.nothing() },
		"nTuned":        func() int { return len(n.tuning.Counts) },
		"tuneReadings":  func() string { return n.tuning.readings() },
		"nFindings":     func() int { return len(d.meta.Findings) },
		"tried":         func(relation string) (string, error) { return d.tried(n.program, relation) },
		"nTried":        func() int { return d.triedFlags(n.program) },
		"triedSums":     func(what string) (string, error) { return d.triedSums(n.program, what) },
		"finding":       func() (string, error) { return d.findingColumn(n.finding) },
		"ruled":         func() (string, error) { r, err := d.ruled(n.replay); return r.query, err },
		"ruledWords":    func() (string, error) { r, err := d.ruled(n.replay); return asList(r.words), err },
		"unpackedWords": func() (string, error) { r, err := d.ruled(n.replay); return fromList(r.words), err },
		"oldFired":      func() (string, error) { r, err := d.ruled(n.replay); return r.oldFired, err },
		"newFired":      func() (string, error) { r, err := d.ruled(n.replay); return r.newFired, err },
		"levelsOf":      levelsOf,
		"moved":         func() (string, error) { return d.movedSQL(n, args) },
		"asStored":      func() string { return d.asStored(n.replay, args) },
		"inMonths":      func() string { return d.inMonths(args) },
		"hours":         func() string { return d.hours(n.replay, args) },
		"keys":          func() string { return d.keys() },
		"flagWords":     func() []flagWord { return d.flagWords() },
		"flagTotals":    func(what string) (string, error) { return d.flagTotals(what) },
		"alike":         func(mature string) string { return d.alikeFrom(mature, args) },
		"cluster": func() (string, error) {
			if !slices.Contains(ClusterColumns, n.cluster) {
				return "", fmt.Errorf("%w: cluster %q: expected one of %s", ErrParameter, n.cluster, strings.Join(ClusterColumns, ", "))
			}
			return n.cluster, nil
		},
	}).Parse(q.SQL)
	if err != nil {
		return "", fmt.Errorf("%s.sql: %w", q.Name, err)
	}
	var b strings.Builder
	if err := t.Execute(&b, nil); err != nil {
		return "", fmt.Errorf("%s: %w", q.Name, err)
	}
	return b.String(), nil
}

type flagSQL struct {
	Bit                     int
	Present, Unknown, State string
	Level                   int8
}

type findingSQL struct {
	Position int
	Column   string
}

// bit is 1 where the flag's bit is set in the words of prefix, as INTEGER.
func bit(prefix string, i int) string {
	return fmt.Sprintf("((%s_%d >> %d) & 1)::INTEGER", prefix, i/64, i%64)
}

func (d *DB) flagList() []flagSQL {
	out := make([]flagSQL, len(d.meta.Flags))
	for i, f := range d.meta.Flags {
		out[i] = flagSQL{i, bit("fired", i) + " = 1", bit("unknown", i) + " = 1", d.state(f), f.Level}
	}
	return out
}

// state says why a flag is unknown, from the findings it reads: the most
// telling of their states, since a flag may read several. An attempt tells
// more than a question that was never put.
func (d *DB) state(f Flag) string {
	any := func(test func(Finding) string) string {
		var parts []string
		for _, id := range f.Findings {
			if i := slices.IndexFunc(d.meta.Findings, func(x Finding) bool { return x.ID == id }); i >= 0 {
				if s := test(d.meta.Findings[i]); s != "" {
					parts = append(parts, s)
				}
			}
		}
		if len(parts) == 0 {
			return "false"
		}
		return strings.Join(parts, " OR ")
	}
	is := func(code int) func(Finding) string {
		return func(x Finding) string { return fmt.Sprintf("%s = %d", column(x.ID), code) }
	}
	return "CASE WHEN " + any(is(-3)) + " THEN 'declined' WHEN " + any(is(-2)) + " THEN 'not_possible' WHEN " +
		any(unreadable) + " THEN 'unreadable' WHEN " + any(is(-4)) + " THEN 'stopped_early' WHEN " +
		any(is(-1)) + " THEN 'not_asked' ELSE 'animal_not_described' END"
}

// fired counts the flags that fired.
func (d *DB) fired() string {
	if len(d.meta.Flags) == 0 {
		return "0"
	}
	var parts []string
	for w := range (len(d.meta.Flags) + 63) / 64 {
		parts = append(parts, fmt.Sprintf("bit_count(fired_%d)", w))
	}
	return "(" + strings.Join(parts, " + ") + ")"
}

// words lists the columns of bits.
func (d *DB) words(function string) string {
	var b strings.Builder
	for w := range (len(d.meta.Flags) + 63) / 64 {
		for _, prefix := range []string{"fired", "unknown"} {
			name := fmt.Sprintf("%s_%d", prefix, w)
			if function == "" {
				b.WriteString(", " + name)
			} else {
				b.WriteString(", " + function + "(" + name + ") AS " + name)
			}
		}
	}
	return b.String()
}

func (d *DB) stratum() string {
	parts := make([]string, len(d.meta.Strata))
	for i, s := range d.meta.Strata {
		parts[i] = fmt.Sprintf("coalesce(%s::VARCHAR, '')", s)
	}
	return "[" + strings.Join(parts, ", ") + "]::VARCHAR[]"
}

// keys are site, species and the strata columns, each once; the month is among
// the grouped columns already.
func (d *DB) keys() string {
	out := []string{"site", "species"}
	for _, s := range d.meta.Strata {
		if s != "month" && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return strings.Join(out, ", ")
}

func (d *DB) findingList() []findingSQL {
	out := make([]findingSQL, len(d.meta.Findings))
	for i, f := range d.meta.Findings {
		out[i] = findingSQL{i, column(f.ID)}
	}
	return out
}

func (d *DB) findingColumn(id string) (string, error) {
	if !slices.ContainsFunc(d.meta.Findings, func(f Finding) bool { return f.ID == id }) {
		return "", fmt.Errorf("%w: finding %q: expected one of the dictionary in force; see report query findings", ErrParameter, id)
	}
	return column(id), nil
}

// column quotes a finding's column; ids come from the dictionary.
func column(id string) string { return `"f_` + strings.ReplaceAll(id, `"`, "") + `"` }
