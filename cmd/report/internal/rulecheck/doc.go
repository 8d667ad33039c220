// Package rulecheck puts what pipeline/rules finds in a rules file, and what
// changed between two, into one value each, and writes it as text, CSV and
// JSON. It reads files and, where a store is at hand, asks package queries how
// often each flag fired. It judges nothing itself.
//
// Start reading at Check and Compare.
package rulecheck
