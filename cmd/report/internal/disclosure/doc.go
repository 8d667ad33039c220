// Package disclosure decides how coarse records must become before strangers
// may have them. It works on counts only: how many records and persons share a
// combination of quasi-identifiers, the properties that an outsider may know
// beforehand. It reads no record and writes no file; package publish does both.
//
//  1. Read reads the privacy file: quasi-identifiers with the levels to which
//     each may be coarsened, target, limits, and what to give up first.
//  2. NewProblem takes the counts by combination; Problem.Search tries every
//     combination of levels (the lattice), suppresses cells where classes stay
//     too small, and returns the Plan that meets the target at the least loss.
//  3. A Plan says for every combination what is published of it. Where no
//     level of coarsening meets target and limits, Search returns a *Refusal
//     that names columns and numbers of records.
//  4. Suppress hides the small cells of a table of counts, and as many others
//     as it takes that no hidden cell can be worked out from the sums; Bounds
//     says what an outsider can still infer.
//
// Loss is the share of information lost, weighted by column: a level's share is
// 1 - H(level)/H(recorded), H being the entropy of the column's values over
// records, and a suppressed cell loses all. Every stated risk counts persons,
// not records: ten calls of one owner hide nobody.
//
// Start reading at Problem.Search.
package disclosure
