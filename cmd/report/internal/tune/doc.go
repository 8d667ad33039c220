// Package tune looks for thresholds of several flags at once, under one stated
// criterion: the fewest referrals at a sensitivity that the data must show, or
// the most animals caught within so many more referrals a day.
//
// One scan counts how far each reading lies beyond the candidate thresholds of
// every tuned flag, and whether the rest of the rules sent the animal in anyway;
// what any combination would have done is a sum of those counts. Combinations
// are fitted on the earlier months and judged on the later ones, and the rules
// are taken to be followed exactly: what advisors raised themselves is for
// report replay to say.
//
// Counts come from queries, every estimate from metrics. Nothing is written
// unless asked for. Start reading at Build, then search.go.
package tune
