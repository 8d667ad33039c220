// Package derive makes the cases of one month in one pass over its files, without
// a join: calls and checks stand in the same order there, and outcomes are few.
//
// It gives the rows that resolve.CasesSQL gives, in a fifth of the time, because
// nothing is hashed that is sorted already and no query is planned. The SQL stays
// the definition: it serves views of earlier loads and second case definitions,
// it derives the months whose files are in another order (ErrUnwalkable), and tests
// and `ingest verify` hold the two to one answer.
//
// The steps, each a file:
//
//  1. calls.go, checks.go, outcomes.go  the three tables, read by package lanes
//  2. month.go     the walk: calls in order, each with its checks
//  3. episode.go   what an episode's records say together
//  4. clock.go     the time on the caller's clock
//  5. sheet.go, column.go  the columns of `cases` and their encoding
//
// Start at Deriver.
package derive
