// Package pool brings several advice lines together without moving a record:
// each line writes a file of counts in which small cells are hidden, and anybody
// who holds several such files pools them.
//
//  1. FromReview makes the counts of one line; every table is suppressed so that
//     its hidden cells cannot be worked out from the sums (package disclosure).
//  2. Read reads such a file and refuses one that does not hold together.
//  3. Pool joins them under random effects, naive beside corrected, with how much
//     the lines differ and what to expect of a further line.
//
// Start reading at Counts.
package pool
