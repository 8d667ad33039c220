// Package review is where counts meet estimates: it asks package queries for
// counts, hands them to package metrics, and fills one value, the Review, with
// everything a monthly review shows. Pages, tables and files are writers of
// that value and compute nothing.
//
//  1. choose decides which month is reviewed and what is mature (period.go).
//  2. strata sorts verified episodes into found cases and samples (strata.go).
//  3. accuracy judges the advice and the rules at both cuts (accuracy.go), and
//     each flag (flags.go).
//  4. missed tells the story of every known miss (story.go) and gives it one
//     reason (reasons.go) on the evidence that the rules make of it
//     (evidence.go); BuildCaseSheets, BuildDraw and BuildFeedback fill the
//     sheets that people work with.
//  5. conclude says what the evidence allows, by stated criteria (conclude.go).
//
// Numbers are proportions in 0..1, counts are episodes, times are UTC. A figure
// that cannot be estimated says why and has no value. Start reading at Build.
package review
