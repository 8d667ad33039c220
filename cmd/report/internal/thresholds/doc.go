// Package thresholds says, for one number that owners read at home, how well it
// tells animals that needed care from others, and which threshold each stated
// criterion would choose.
//
// Readings of different settings are never added up, species are kept apart
// where their physiology differs, and the bad end of the scale comes from the
// findings dictionary, never from the data. A threshold is chosen on earlier
// months and judged on later ones; naive figures stand beside those corrected
// for outcomes that never became known.
//
// Counts come from queries, every estimate from metrics. Build fills a Result,
// and the writers of this package arrange it. Propose turns a choice into a new
// version of the rules file, in which only that threshold differs.
//
// Start reading at Build and Group.
package thresholds
