// Package walk counts how the home checks of a month went, and what its cases hold
// of findings, each in one pass over the files.
//
// The checks of a call lie together, so that the next row is the next question, and
// nothing is sorted, joined or hashed but one row a call. That gives what the questions
// check_handling, check_seconds, column_fill (its checks) and reading_pairs give,
// together, in about a third of the processor time of DuckDB, which joins every check
// with its call and unpacks the columns once for each.
//
// The SQL stays the definition: it answers where the files are in another order
// (lanes.ErrUnwalkable), and tests hold the two to one answer.
//
// The steps, each a file:
//
//  1. calls.go   what a check needs of its call, by pseudonym
//  2. checks.go  the rows of the checks, call by call
//  3. alike.go   how often each was done, and how long it took
//  4. filled.go  which columns are filled
//  5. pairs.go   what the owner read beside what the vet read
//  6. kept.go    the checks of some episodes, row by row
//
// Cases are taken column by column, in a third of the processor time of the
// questions: DuckDB keeps a map for each column, and compares each with each state.
//
//  1. cases.go     the rows, the numbers of findings, the checks usually put
//  2. unknown.go   why flags are unknown
//  3. groups.go    episodes by single properties
//  4. verified.go  the episodes whose need is known
//  5. clusters.go  these by animal, advisor and practice; tally.go counts bits
//
// Start at Walker and WalkCases.
package walk

import (
	"context"
	"time"

	"hindcheck/pipeline/lanes"
)

// Files are the stored files of one month.
type Files struct{ Calls, Checks, Outcomes []string }

// Month is what is counted of a month.
type Month struct {
	Alike  []Alike
	Filled Filled
	Pairs  []Pair
	// Apart says that a call's checks and its vet's readings lie apart, so that
	// Pairs are not all of them.
	Apart bool
	// Kept are the checks of the episodes that are wanted row by row.
	Kept []Kept
}

// Walker walks one month after another. It is not for use by several goroutines at
// a time. The zero value is ready.
type Walker struct {
	calls calls
	run   []check
	keys  []lanes.Key // see fetch
	alike alike
	fill  [1 << fillBits]int64
	pairs pairs
	kept  []Kept
}

// Month counts the checks of a month; a vet's reading compares with the owner's
// for so long after the call; wanted are the episodes of which the checks are kept.
// It returns an error that wraps lanes.ErrUnwalkable
// where the files cannot be walked.
func (w *Walker) Month(ctx context.Context, files Files, within time.Duration, wanted map[lanes.Key]bool) (*Month, error) {
	w.calls.wanted, w.kept = wanted, nil
	if err := w.calls.read(ctx, files.Calls); err != nil {
		return nil, err
	}
	if err := w.calls.readExams(ctx, files.Outcomes); err != nil {
		return nil, err
	}
	w.alike.begin(len(w.calls.species.All))
	w.pairs.begin(within)
	clear(w.fill[:])
	for _, path := range files.Checks {
		if err := w.file(ctx, path); err != nil {
			return nil, err
		}
	}
	return &Month{Alike: w.alike.rows(&w.calls), Filled: filled(&w.fill), Pairs: w.pairs.rows(&w.alike), Apart: w.pairs.apart, Kept: w.kept}, nil
}
