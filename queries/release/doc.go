// Package release prepares the rows of a de-identified release inside DuckDB
// and hands them out one by one, in an order that tells nothing.
//
// What becomes of the quasi-identifiers is decided elsewhere, on counts: the
// steps are
//
//  1. Prepare sets every episode's quasi-identifiers beside its person;
//     Combinations counts the episodes that share them.
//  2. The caller finds a plan and gives it to Assign, combination by
//     combination. Keys and Staff then say which keys may link rows: an animal
//     or owner stays linked only if enough others show the same rows.
//  3. Classes measures what was assigned, with persons counted exactly.
//  4. Tables lists the tables with their columns; Read gives a table's rows
//     ordered by their new random keys.
//
// New keys are SHA-256 of a secret and the old key, cut to 96 bits; whoever
// throws the secret away cannot make them again.
//
// Start reading at Prepare and tables.go.
package release
