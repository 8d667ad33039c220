// Package queries counts. Each question is one .sql file of this folder with a
// typed Go function of the same name; what comes back are small contingency
// tables, never records, except for the short list of cases to discuss.
//
// It leaves rows to package pipeline and its rooms, and estimates to package
// metrics.
//
//  1. Open puts DuckDB views over the explicit file list of a store snapshot;
//     New takes any database that has tables of those names, as tests do.
//  2. A Scope says which months and what is mature.
//  3. A question such as FlagCounts runs its .sql file and gives typed rows.
//  4. Questions lists all with their headers, and DB.Run runs one by name with
//     parameters as text, for cmd/report query.
//
// Views: calls, checks, outcomes, coverage, cases, set_aside. Most questions
// read only cases, one narrow row an episode, in a single scan.
//
// Values are always bound. Three things cannot be bound because they are
// columns: the bits of the flags, the finding and the grouping. A .sql file is
// therefore a text/template whose functions take names from fixed lists only
// (see expand).
//
// Oddities of DuckDB that the files allow for (1.5):
//
//   - sum of any integer is HUGEINT, which the driver gives as *big.Int: every
//     sum is cast to BIGINT. count_if likewise.
//   - sum over UBIGINT takes twice as long as over INTEGER: bits are cast first.
//   - several unnest in one SELECT run side by side and pad with NULL, so lists
//     that are unnested together have the same length by construction.
//   - a named parameter that a statement does not use is an error: the header
//     of a file declares exactly what it uses, and a test holds it to that.
//
// To add a question:
//
//  1. Write NAME.sql with its header: name, answers, param, column, row.
//  2. Add the row type and the function of the same name beside its kin
//     (advice.go, groups.go, flags.go, answers.go, findings.go, process.go,
//     data.go, quality.go).
//  3. Test it on a few hand-written rows, and on none, in the matching _test.go.
//
// A test fails while any of the three is missing, and cmd/report query shows
// the question without further ado.
//
// Start reading at DB and FlagCounts.
package queries
