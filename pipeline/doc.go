// Package pipeline turns exports into the records of a store.
//
// Load does one load, wholly or not at all:
//
//  1. definitions.go  findings dictionary, rules, case definition, strata: from
//     files, else those of the store, else the built-in ones
//  2. exports.go      which files there are and which description fits which
//  3. load.go         read each export into staged Parquet (package intake),
//     resolve the rows against the store (package resolve), account for every
//     row, and commit (package store)
//
// Retry does the same for rows alone that an earlier load set aside. Status tells what a store holds. Counting is the business of package
// queries, estimating that of package metrics.
package pipeline
