package queries

// Questions about two sets of rules on the same episodes.

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/rules"
)

// Replay is two sets of rules to compare. A nil program stands for the rules
// in force.
type Replay struct {
	Current, Proposed *rules.Program
	// held are tables made by HoldReplay.
	held replayTables
}

// InForce compiles the rules in force, nil if the store has none.
func (d *DB) InForce() (*rules.Program, error) {
	if d.meta.Rules == nil || len(d.meta.Rules.Flags) == 0 || d.meta.Dictionary == nil {
		return nil, nil
	}
	return rules.Compile(d.meta.Rules, d.meta.Dictionary)
}

// ReplayCountsRow is one row of ReplayCounts.
type ReplayCountsRow struct {
	// Month: yyyymm.
	Month int `json:"month"`
	// Mature: whether outcomes had time to arrive.
	Mature bool `json:"mature"`
	// Site: where the contact was taken.
	Site string `json:"site"`
	// Species: of the animal.
	Species string `json:"species"`
	// Age: 0 not recorded, 1 under six months, 2 under seven years, 3 seven years and over.
	Age int8 `json:"age"`
	// Level: advice at the first contact, 0 none to 4 emergency.
	Level int8 `json:"level"`
	// OldLow: level of the current rules by flags that fired alone, 0 undetermined to 4 emergency.
	OldLow int8 `json:"old_low"`
	// OldLevel: level that the current rules demand.
	OldLevel int8 `json:"old_level"`
	// OldHigh: the highest level they may demand once unknown answers are known.
	OldHigh int8 `json:"old_high"`
	// NewLow: the same for the proposed rules.
	NewLow int8 `json:"new_low"`
	// NewLevel: level that the proposed rules demand.
	NewLevel int8 `json:"new_level"`
	// NewHigh: the highest level they may demand.
	NewHigh int8 `json:"new_high"`
	// NeedEmergency: 1 needed, 0 not needed, -1 not verified.
	NeedEmergency int8 `json:"need_emergency"`
	// NeedSameDay: the same for care on the same day.
	NeedSameDay int8 `json:"need_same_day"`
	// Route: 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit.
	Route int8 `json:"route"`
	// Stratum: the recorded properties beside the level.
	Stratum []string `json:"stratum"`
	// N: episodes.
	N int64 `json:"n"`
}

// ReplayCounts answers: What would two sets of rules have demanded of the same episodes, beside what was
// advised and what was found? Every figure of a replay is a sum of these rows. One row per
// combination that occurs.
func (d *DB) ReplayCounts(ctx context.Context, s Scope, p Replay) ([]ReplayCountsRow, error) {
	return ask(ctx, d, "replay_counts", names{replay: p}, s.args(), func(r *ReplayCountsRow) []any {
		return []any{&r.Month, &r.Mature, &r.Site, &r.Species, &r.Age, &r.Level, &r.OldLow, &r.OldLevel, &r.OldHigh,
			&r.NewLow, &r.NewLevel, &r.NewHigh, &r.NeedEmergency, &r.NeedSameDay, &r.Route, (*stringList)(&r.Stratum), &r.N}
	})
}

// ReplayEpisodesRow is one row of ReplayEpisodes.
type ReplayEpisodesRow struct {
	// Kind: missed or caught of animals in need; extra or spared of the others.
	Kind string `json:"kind"`
	// Emergency: whether the cut at emergency is crossed in that way.
	Emergency bool `json:"emergency"`
	// SameDay: whether the cut at same day is.
	SameDay bool `json:"same_day"`
	// Episode: pseudonym of the episode.
	Episode string `json:"episode"`
	// Call: pseudonym of the record that opened it, which is the same.
	Call string `json:"call"`
	// StartedAt: first contact, UTC.
	StartedAt time.Time `json:"started_at"`
	// Month: yyyymm.
	Month int `json:"month"`
	// Site: where the contact was taken.
	Site string `json:"site"`
	// Species: of the animal.
	Species string `json:"species"`
	// AgeMonths: age in months, null not recorded.
	AgeMonths *int32 `json:"age_months"`
	// Complaint: coded.
	Complaint string `json:"complaint"`
	// Level: advice at the first contact, 0 none.
	Level int8 `json:"level"`
	// OldLevel: level that the current rules demand, 0 undetermined.
	OldLevel int8 `json:"old_level"`
	// NewLevel: level that the proposed rules demand, 0 undetermined.
	NewLevel int8 `json:"new_level"`
	// NewHigh: the highest level they may demand once unknown answers are known.
	NewHigh int8 `json:"new_high"`
	// NeedEmergency: 1 needed it, 0 did not, -1 not verified.
	NeedEmergency int8 `json:"need_emergency"`
	// NeedSameDay: the same for care on the same day.
	NeedSameDay int8 `json:"need_same_day"`
	// Route: how the outcome came to be known.
	Route int8 `json:"route"`
	// Disposition: what became of the animal.
	Disposition string `json:"disposition"`
	// Died: whether the animal died or was put to sleep.
	Died bool `json:"died"`
	// OutcomeHours: hours from the first contact to the outcome, null unknown.
	OutcomeHours *float64 `json:"outcome_hours"`
	// OldFired: positions of the flags of the current rules that fired.
	OldFired []int `json:"old_fired"`
	// NewFired: positions of the flags of the proposed rules that fired.
	NewFired []int `json:"new_fired"`
}

// ReplayEpisodes answers: Which episodes with a known need for care on the same day would proposed rules put
// on the other side of a cut? A list for discussion: every animal in need that is newly missed, and the first most of the
// other kinds. One row per kind and episode, worst first.
func (d *DB) ReplayEpisodes(ctx context.Context, s Scope, p Replay, most int) ([]ReplayEpisodesRow, error) {
	args := map[string]any{"from_month": s.From, "to_month": s.To, "most": most}
	return ask(ctx, d, "replay_episodes", names{replay: p}, args, func(r *ReplayEpisodesRow) []any {
		return []any{&r.Kind, &r.Emergency, &r.SameDay, &r.Episode, &r.Call, &r.StartedAt, &r.Month, &r.Site, &r.Species, &r.AgeMonths, &r.Complaint,
			&r.Level, &r.OldLevel, &r.NewLevel, &r.NewHigh, &r.NeedEmergency, &r.NeedSameDay, &r.Route, &r.Disposition, &r.Died, &r.OutcomeHours,
			(*intList)(&r.OldFired), (*intList)(&r.NewFired)}
	})
}

// ReplayDaysRow is one row of ReplayDays.
type ReplayDaysRow struct {
	// Site: where the contact was taken.
	Site string `json:"site"`
	// Night: whether it is a night; it belongs to the day on which it began.
	Night bool `json:"night"`
	// Date: local day.
	Date time.Time `json:"date"`
	// Calls: episodes that began.
	Calls int64 `json:"calls"`
	// OldSent: sent in if the current rules are followed exactly.
	OldSent int64 `json:"old_sent"`
	// NewSent: sent in if the proposed rules are.
	NewSent int64 `json:"new_sent"`
	// OldKept: sent in by the current rules with the advisors' own raises.
	OldKept int64 `json:"old_kept"`
	// NewKept: sent in by the proposed rules with those raises.
	NewKept int64 `json:"new_kept"`
}

// ReplayDays answers: How many animals would two sets of rules have sent in, on each day and in each night
// of each site? The night lasts from the local hour nightFrom to nightTo. One row per site, day or
// night, and date with calls.
func (d *DB) ReplayDays(ctx context.Context, s Scope, p Replay, cut, nightFrom, nightTo int) ([]ReplayDaysRow, error) {
	args := map[string]any{"from_month": s.From, "to_month": s.To, "cut": cut, "night_from": nightFrom, "night_to": nightTo}
	return ask(ctx, d, "replay_days", names{replay: p}, args, func(r *ReplayDaysRow) []any {
		return []any{&r.Site, &r.Night, &r.Date, &r.Calls, &r.OldSent, &r.NewSent, &r.OldKept, &r.NewKept}
	})
}

// ruled is cases with the levels of both sets of rules as rules.SelectLevels gives
// them: old_rule_code, old_rule_moved, and the same with new_. oldFired and newFired list
// the flags that fired, from the columns words. Flags that the rules in force hold too are read from the
// bits that the load has stored.
type ruled struct {
	query              string
	words              []string
	oldFired, newFired string
}

func (d *DB) ruled(p Replay) (r ruled, err error) {
	stored, err := d.InForce()
	if err != nil {
		return r, err
	}
	from, err := d.withFindings("cases", p)
	if err != nil {
		return r, err
	}
	var parts []rules.Part
	for _, x := range []struct {
		prefix string
		g      *rules.Program
	}{{"old_", p.Current}, {"new_", p.Proposed}} {
		if x.g == nil {
			x.g = stored
		}
		if x.g != nil {
			parts = append(parts, rules.Part{Program: x.g, Prefix: x.prefix})
			continue
		}
		// No rules are on record; the stored levels say so.
		from = fmt.Sprintf("(SELECT *, -1::SMALLINT AS %[1]srule_code, false AS %[1]srule_moved FROM %[2]s)", x.prefix, from)
	}
	query, words, fired, err := rules.SelectLevels(from, stored, parts...)
	if err != nil {
		return r, err
	}
	list := map[string]string{"old_": "[]::INTEGER[]", "new_": "[]::INTEGER[]"}
	for i, part := range parts {
		list[part.Prefix] = fired[i]
	}
	return ruled{query, words, list["old_"], list["new_"]}, nil
}

// levelsOf makes the three levels of a code of ruled, named with a prefix.
func levelsOf(code, prefix string) string {
	low, level, high := rules.LevelsOfCode(code)
	return fmt.Sprintf("%[1]s AS %[4]s_low, %[2]s AS %[4]s_level, %[3]s AS %[4]s_high", low, level, high, prefix)
}

// withFindings adds the findings that the rules ask about and the store never
// recorded, as not asked. A finding that both know must be stored alike.
func (d *DB) withFindings(relation string, p Replay) (string, error) {
	var missing []string
	for _, g := range []*rules.Program{p.Current, p.Proposed} {
		if g == nil || d.meta.Dictionary == nil {
			continue
		}
		for _, id := range g.Findings() {
			asked, _ := g.Dict.Finding(id)
			kept, ok := d.meta.Dictionary.Finding(id)
			switch {
			case ok && !storedAlike(kept, asked):
				return "", fmt.Errorf("%w: finding %s: the dictionary %s of the proposal records it in another way than %s of the store; "+
					"append codes, but never move or rescale them", ErrParameter, id, g.Dict.ID, d.meta.Dictionary.ID)
			case !ok && !slices.Contains(missing, id):
				missing = append(missing, id)
			}
		}
	}
	if len(missing) == 0 {
		return relation, nil
	}
	for i, id := range missing {
		missing[i] = "NULL::SMALLINT AS " + column(id)
	}
	return "(SELECT *, " + strings.Join(missing, ", ") + " FROM " + relation + ")", nil
}

// storedAlike reports whether readings of kept mean the same under asked, which
// may have more codes.
func storedAlike(kept, asked *findings.Finding) bool {
	if kept.Kind != asked.Kind || kept.Scale != asked.Scale || len(asked.Codes) < len(kept.Codes) {
		return false
	}
	for i := range kept.Codes {
		if kept.Codes[i].ID != asked.Codes[i].ID || kept.Codes[i].Unreadable != asked.Codes[i].Unreadable {
			return false
		}
	}
	return true
}
