package queries

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"hindcheck/pipeline/codes"
)

// ChecksAlikeRow is one row of ChecksAlike.
type ChecksAlikeRow struct {
	// Finding: id of the finding.
	Finding string `json:"finding"`
	// Species: of the animal; empty if not recorded.
	Species string `json:"species"`
	// Handling: free, held, wrapped, refused; empty if not recorded.
	Handling string `json:"handling"`
	// State: done, not_possible, declined or not_asked.
	State string `json:"state"`
	// Reason: why it was not done; empty if not stated.
	Reason string `json:"reason"`
	// N: checks, the vet's own left out.
	N int64 `json:"n"`
	// Asked: those of first contacts, if they were done, tried or declined.
	Asked int64 `json:"asked"`
	// Timed: those of them whose beginning and end are on record, at most an hour apart.
	Timed int64 `json:"timed"`
	// Micros: what the timed ones took together, in microseconds.
	Micros int64 `json:"micros"`
}

// anotherOrder is what checks_alike says of checks that it cannot walk, such as
// those of a call that lie in two files.
const anotherOrder = "checks in another order"

// ChecksAlike answers: How many checks are alike in what was checked, on which animal and how it went,
// and how long did those of first contacts take? Counted in one walk over the checks in the order of
// their files; an error where a call's checks do not lie together in the order asked. One row per
// finding, species, handling, state and reason.
func (d *DB) ChecksAlike(ctx context.Context, s Scope) ([]ChecksAlikeRow, error) {
	return ask(ctx, d, "checks_alike", names{}, s.args(), func(r *ChecksAlikeRow) []any {
		return []any{&r.Finding, &r.Species, &r.Handling, &r.State, &r.Reason, &r.N, &r.Asked, &r.Timed, &r.Micros}
	})
}

// walk is ChecksAlike of a long line, a month at a time and kept for the next
// question about the same months; nil where the plain questions must be asked.
func (d *DB) walk(ctx context.Context, s Scope) ([]ChecksAlikeRow, error) {
	if !d.isLong() || d.published {
		return nil, nil
	}
	d.walking.Lock()
	defer d.walking.Unlock()
	months := [2]int{s.From, s.To}
	if rows, ok := d.walked[months]; ok {
		return rows, nil
	}
	rows, err := eachMonth(s, func(s Scope) ([]ChecksAlikeRow, error) { return d.ChecksAlike(ctx, s) })
	if err != nil && strings.Contains(err.Error(), anotherOrder) {
		rows, err = nil, nil
	}
	if err != nil {
		return nil, err
	}
	if d.walked == nil {
		d.walked = map[[2]int][]ChecksAlikeRow{}
	}
	d.walked[months] = rows
	return rows, nil
}

// handlingOf adds up rows as CheckHandling gives them.
func handlingOf(alike []ChecksAlikeRow) []CheckHandlingRow {
	out := []CheckHandlingRow{}
	place := map[CheckHandlingRow]int{}
	for _, x := range alike {
		row := CheckHandlingRow{Finding: x.Finding, Species: x.Species, Handling: x.Handling, State: x.State, Reason: x.Reason}
		i, ok := place[row]
		if !ok {
			i = len(out)
			place[row], out = i, append(out, row)
		}
		out[i].N += x.N
	}
	slices.SortFunc(out, sameHandling)
	return out
}

// secondsOf adds up rows as CheckSeconds gives them.
func secondsOf(alike []ChecksAlikeRow) []CheckSecondsRow {
	sums := map[string]*ChecksAlikeRow{}
	for _, x := range alike {
		if sums[x.Finding] == nil {
			sums[x.Finding] = &ChecksAlikeRow{}
		}
		sum := sums[x.Finding]
		sum.Asked, sum.Timed, sum.Micros = sum.Asked+x.Asked, sum.Timed+x.Timed, sum.Micros+x.Micros
	}
	out := []CheckSecondsRow{}
	for finding, sum := range sums {
		if sum.Asked > 0 {
			out = append(out, CheckSecondsRow{finding, sum.Asked, sum.Timed, float64(sum.Micros) / 1e6})
		}
	}
	slices.SortFunc(out, func(a, b CheckSecondsRow) int { return cmp.Compare(a.Finding, b.Finding) })
	return out
}

// closedWords is a list of the empty word and those of a closed list, for numbers
// in the place of words.
func closedWords(name string) (string, error) {
	for _, l := range []codes.List{codes.Handling, codes.States, codes.Reasons} {
		if l.Name() == name {
			return "['', '" + strings.Join(l.Words(), "', '") + "']", nil
		}
	}
	return "", fmt.Errorf("closed list %q: expected handling, state or reason", name)
}
