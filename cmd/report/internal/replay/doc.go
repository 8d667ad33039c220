// Package replay asks what a proposed change of rules would have done to calls
// already taken: queries give counts by the level that each set of rules
// demands, metrics turn them into estimates, and one value, the Report, holds
// everything that the dossier of the change shows. Pages, tables and files are
// writers of that value and compute nothing.
//
//  1. Build chooses the period and counts once (replay.go).
//  2. moves says which levels change, in which direction (moves.go).
//  3. compare judges both sets of rules on the same episodes at both cuts,
//     naive and corrected for who was verified (pairs.go, compare.go), once as
//     if rules were followed exactly and once with the advisors' own raises.
//  4. groups asks the same of every species, age band and site (groups.go).
//  5. workload, cases, unknowns and limits say what the change costs, whom it
//     would miss, how much rests on answers nobody has, and what no record can
//     show.
//  6. judge compares all of it with criteria fixed beforehand (verdict.go).
//
// The proposal is always "new" and first, the rules it is compared with "old".
// A Report depends on the store and the files alone: counts are whole numbers,
// draws are seeded, no clock is read. Start reading at Build.
package replay
