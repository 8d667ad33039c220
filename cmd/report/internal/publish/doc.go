// Package publish writes a de-identified release of a store: tables as CSV and
// Parquet, a descriptor after the Data Package standard, a codebook, a methods
// note, a risk report and checksums, in one folder that stands for itself.
//
//  1. package queries/release sets out the rows and counts combinations of
//     quasi-identifiers; package disclosure finds how coarse they must become.
//  2. write.go writes each table in both forms, row by row.
//  3. check.go opens what was written and judges it as the review would; the
//     differences are what the methods note states.
//  4. describe.go and its neighbours write what a reader needs beside the rows.
//
// The folder appears whole or not at all. Start reading at Write.
package publish
