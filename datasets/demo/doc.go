// Package demo invents an advice line and writes the exports that its call
// system and its partner practices would deliver.
//
// Everything here is made up: the place (Averlund), the three sites (Tarnholt,
// Brillowfen, Cressmark), the practices, the owners and the animals. No rate,
// threshold or share is a finding about real animals; the numbers were chosen
// so that the figures of a review look plausible and so that a known truth
// stands behind them.
//
// The package knows nothing of the loader. It writes the line's own words,
// units, local times and blanks, and the source descriptions in sources/ say
// how they map to records. A generator that shared the loader's mapping would
// share its mistakes.
//
// # How the line is made
//
//  1. calendar: when the phone rings, hour by hour, with daylight saving.
//  2. animals: households and their animals, the same ones again and again.
//  3. conditions, signs: what is wrong, how soon it must be seen (the truth),
//     and what a careful observer would find.
//  4. owner, protocol: what the owner reads instead, which questions are asked,
//     skipped, refused or cut short.
//  5. advice: what the line's rules say and what the advisor says.
//  6. course: who attends, who gets worse, what the vet finds, who is followed
//     up. This is where the two worlds differ, and only here.
//  7. export: rows in files, with the faults that exports have.
//
// Start at Generate for files, at Simulate for episodes without files and at
// WriteTruth for what the exports do not show.
package demo
