package queries

// Questions about several thresholds at once.

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"hindcheck/pipeline/rules"
)

// Tuning is what tune_patterns asks about: the rules in force without the tuned
// flags, and a set with one flag for each candidate threshold (rules.StepSet).
type Tuning struct {
	// Rest is nil where every flag is tuned.
	Rest *rules.Program
	// Steps holds the candidates of all tuned flags one after another; Counts is
	// how many each has.
	Steps  *rules.Program
	Counts []int
}

// TunePatternsRow is one row of TunePatterns.
type TunePatternsRow struct {
	// Month: of the first contact, yyyymm.
	Month int `json:"of_month"`
	// Present: whether the rules in force demand the cut.
	Present bool `json:"present"`
	// Rest: whether they do without the tuned flags.
	Rest bool `json:"rest"`
	// Bins: for each tuned flag how many of its candidate thresholds are met, counted from the
	// one that is met most often; negative where it is not known whether they are.
	Bins []int `json:"bins"`
	// Need: 1 needed, 0 not needed, -1 not verified.
	Need int8 `json:"need"`
	// Route: 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit.
	Route int8 `json:"route"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// Mature: whether outcomes had time to arrive.
	Mature bool `json:"mature"`
	// Stratum: the recorded properties beside the level.
	Stratum []string `json:"stratum"`
	// N: episodes.
	N int64 `json:"n"`
}

// TunePatterns answers: How far did each reading lie beyond the candidate thresholds of several flags at
// once, and did the rest of the rules send the animal in anyway? What any combination of
// thresholds would have done is a sum of these rows. One row per combination that occurs.
func (d *DB) TunePatterns(ctx context.Context, s Scope, cut int, x Tuning) ([]TunePatternsRow, error) {
	return ask(ctx, d, "tune_patterns", names{tuning: x}, with(s.args(), "cut", cut), func(r *TunePatternsRow) []any {
		return []any{&r.Month, &r.Present, &r.Rest, (*intList)(&r.Bins), &r.Need, &r.Route, &r.Level, &r.Mature, (*stringList)(&r.Stratum), &r.N}
	})
}

// TuneReadingsRow is one row of TuneReadings.
type TuneReadingsRow struct {
	// Flag: place among the flags that are asked about, from 0.
	Flag int `json:"flag"`
	// Value: reading times scale.
	Value int32 `json:"value"`
	// N: episodes.
	N int64 `json:"n"`
}

// TuneReadings answers: How often was each value of a flag's number recorded among the animals that the flag
// is meant for, by species, age, breed and whatever else it asks of the animal? x has one step
// for each flag, which every reading meets. One row per flag and value.
func (d *DB) TuneReadings(ctx context.Context, s Scope, x Tuning) ([]TuneReadingsRow, error) {
	return ask(ctx, d, "tune_readings", names{tuning: x}, s.args(), func(r *TuneReadingsRow) []any {
		return []any{&r.Flag, &r.Value, &r.N}
	})
}

// The prefixes of the columns of the two sets.
const (
	tuneStepsPrefix = "t_"
	tuneRestPrefix  = "r_"
)

// relation adds the bits of the steps and the level of the rest to a relation.
func (x Tuning) relation(from string) (string, error) {
	var parts []rules.Part
	if x.Steps != nil {
		parts = append(parts, rules.Part{Program: x.Steps, Prefix: tuneStepsPrefix})
	}
	if x.Rest != nil {
		parts = append(parts, rules.Part{Program: x.Rest, Prefix: tuneRestPrefix})
	}
	return rules.Select(from, parts...)
}

// rest is whether the rules without the tuned flags demand the cut.
func (x Tuning) rest(cut string) string {
	switch {
	case x.Rest != nil:
		return tuneRestPrefix + "rule_level >= " + cut
	case x.Steps == nil:
		return "rule_level >= " + cut
	}
	return "false"
}

// bins counts, for each tuned flag, the steps that fire, else minus those that
// are unknown.
func (x Tuning) bins() string {
	var out []string
	at := 0
	for _, n := range x.Counts {
		fired, unknown := bitCount(tuneStepsPrefix+"fired", at, n), bitCount(tuneStepsPrefix+"unknown", at, n)
		out = append(out, fmt.Sprintf("CASE WHEN (%[1]s) > 0 THEN (%[1]s) ELSE -(%[2]s) END", fired, unknown))
		at += n
	}
	return "[" + strings.Join(out, ", ") + "]::INTEGER[]"
}

// readings lists the reading that each flag rests on, NULL where the flag is not
// meant for the animal or nothing was read.
func (x Tuning) readings() string {
	out := make([]string, len(x.Counts))
	for i := range out {
		out[i] = "CASE WHEN " + bit(tuneStepsPrefix+"fired", i) + " = 1 THEN " + column(x.Steps.Set.Flags[i].All[0].Finding) + "::INTEGER END"
	}
	return "[" + strings.Join(out, ", ") + "]::INTEGER[]"
}

// nothing is a pattern on which no step fires.
func (x Tuning) nothing() string {
	return "[" + strings.Join(slices.Repeat([]string{"0"}, len(x.Counts)), ", ") + "]::INTEGER[]"
}

// bitCount counts the bits set from place at on, n of them, over the words that
// hold them.
func bitCount(prefix string, at, n int) string {
	var parts []string
	for w := at / 64; w*64 < at+n; w++ {
		var mask uint64
		for i := max(at, w*64); i < min(at+n, w*64+64); i++ {
			mask |= 1 << (i % 64)
		}
		parts = append(parts, fmt.Sprintf("bit_count(%s_%d & %d::UBIGINT)::INTEGER", prefix, w, mask))
	}
	return strings.Join(parts, " + ")
}
