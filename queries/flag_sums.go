package queries

import (
	"fmt"
	"strings"
)

// laneBits is how far apart two flags lie that are summed as one number: a group
// may hold up to 2^32 episodes.
const laneBits = 32

// mostFlags is how many flags fit in the two lanes of a BIGINT.
const mostFlags = 2 * (laneBits - 1)

// flagSums lists, for each flag, in how many episodes of a group it was present
// or unknown. Summing is what counting flags costs, and a sum for each flag is
// twice as dear as it need be: the bits of half the flags are moved 32 places
// up, so that one sum counts two flags, the second in the upper half of the
// total. Totals are taken apart once a group. For 48 flags and a million
// episodes that took 0.43 seconds of processor time down to 0.19. Where
// groups are few, flagTotals over episodes alike is cheaper still: of 397,000
// invented episodes 53,000 differ in month, species, need and bits, and the
// share falls as lines grow. Clusters are many, and small.
func (d *DB) flagSums(what string) (string, error) {
	prefix, ok := map[string]string{"present": "fired", "unknown": "unknown"}[what]
	if !ok {
		return "", fmt.Errorf("flags %q: expected present or unknown", what)
	}
	var parts []string
	n := len(d.meta.Flags)
	for first := 0; first < n; {
		last := min(n, first+mostFlags, (first/64+1)*64)
		parts = append(parts, laneSums(prefix, first, last)...)
		first = last
	}
	return "[" + strings.Join(parts, ", ") + "]::BIGINT[]", nil
}

// laneSums sums flags first to last-1, which lie in one word.
func laneSums(prefix string, first, last int) []string {
	half := (last - first + 1) / 2
	mask := uint64(1)<<half - 1
	lanes := fmt.Sprintf("(((%[1]s_%[2]d >> %[3]d) & %[5]d) | (((%[1]s_%[2]d >> %[4]d) & %[5]d) << %[6]d))::BIGINT",
		prefix, first/64, first%64, first%64+half, mask, laneBits)
	parts := make([]string, last-first)
	for i := range parts {
		place, lane := i%half, i/half
		pair := uint64(1)<<place | uint64(1)<<(place+laneBits)
		parts[i] = fmt.Sprintf("((sum(%s & %d) >> %d) & %d)::BIGINT", lanes, pair, place+lane*laneBits, uint64(1)<<laneBits-1)
	}
	return parts
}
