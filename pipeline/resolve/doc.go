// Package resolve turns the staged rows of a load into the next state of the
// store's tables: it drops duplicates, lets the later export win, builds
// episodes, links outcomes to them, and derives the cases.
//
// It works on Parquet files through DuckDB and hands back staged files and an
// account of every row; it changes nothing in the store (that is store.Tx).
// The joins are SQL, in sql/; the one step that is a walk rather than a join,
// the building of episodes, is Go (episodes.go).
//
// The order of the work, each step a file:
//
//  1. open.go      staged and present rows as views
//  2. keyed.go     one row a key: within the load, then against the store
//  3. episodes.go  contacts of one animal within the window become episodes
//  4. calls.go     which months change; the calls of each
//  5. checks.go    a later export of a call replaces all its checks
//     direct.go    months of which the store holds nothing are copied instead
//  6. outcomes.go  outcomes are linked to episodes, by key or by animal and time
//     stretches.go calls and outcomes whose episode is their call stand by themselves
//  7. cases.go     one narrow row an episode, months that changed only: by a walk
//     over the month's files (walk.go, package derive), or by SQL (cases.sql)
//
// Everything is done a month at a time, so that memory follows the busiest
// month and not the store.
package resolve
