// Package lanes reads stored Parquet files column by column, a batch of rows at a
// time and words as numbers, for what walks the files of a month side by side:
// package derive, and the walk of package queries; and the orders of rows that a load
// makes for itself.
//
// Start at Reader; words.go numbers words.
package lanes

import "errors"

// ErrUnwalkable says that the files of a month cannot be walked side by side:
// they are in another order, or a column is not stored as a load stores it now.
var ErrUnwalkable = errors.New("the files of the month cannot be walked side by side")
