// Package store keeps the records of one advice line on disk: Parquet files,
// partitioned by month, and one manifest that says which of them make up the
// present.
//
//	STORE/
//	  current/TABLE/year=Y/month=M/NAME.parquet   exactly one row a key
//	  history/TABLE/year=Y/month=M/NAME.parquet   superseded rows
//	  cases/year=Y/month=M/NAME.parquet           derived, one row an episode
//	  set_aside/NAME.parquet                      rows refused, with reasons
//	  history/set_aside/NAME.parquet              rows refused once and no longer
//	  definitions/HASH.yaml                       rules, dictionary, case definition in force
//	  manifest.json
//
// The package knows files, not rows: what stands in them is the business of
// pipeline/resolve. Its promise is that a load happens wholly or not at all,
// whatever is cut in the middle:
//
//  1. New files are written under staging/ and synced.
//  2. They are renamed to names that no reader knows yet.
//  3. The folders that received them are synced.
//  4. manifest.tmp is written, synced and renamed over manifest.json, and the
//     store's own folder is synced. This rename is the moment of the load.
//  5. Files that no manifest lists are deleted, if no reader is at work.
//
// A reader reads the manifest once and holds a shared lock; it never lists a
// folder. There is one writer at a time. Start reading at Snapshot and Tx.
package store
